"""Speech material kept on disk: it is drawn once for each state of a pack, and not anew for every visit.

What is kept goes by a name made from the pack, its files of sentences, and the code that draws. Where nothing
can be kept or what is kept can't be read, the material is drawn.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from dataclasses import asdict
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.material import Drawn, SpeechMaterial, drawn_from, material_of

if TYPE_CHECKING:
    from voicenotes.vocabulary.schema import Pack

FOLDER = "material"
MOST_KEPT = 4  # packs, or states of one, such as with and without the user's additions


def kept_speech_material(pack: Pack, cache_dir: Path | None = None) -> SpeechMaterial:
    """The same as `speech_material`, from the disk where it was drawn before.

    `cache_dir` defaults to the user's cache folder for voicenotes.
    """
    import platformdirs

    home = (cache_dir or Path(platformdirs.user_cache_dir("voicenotes"))) / FOLDER
    path = home / f"{_name(pack)}.json"
    kept = _read(path)
    if kept is not None:
        return material_of(kept)
    parts = drawn_from(pack)
    with contextlib.suppress(OSError):
        _keep(parts, path)
        _remove_old(home)
    return material_of(parts)


def _name(pack: Pack) -> str:
    digest = hashlib.sha256(pack.model_dump_json().encode())
    homes = [vocab_home() / SHARED_LANGUAGE, *([Path(pack.home)] if pack.home else [])]
    files = [path for home in homes for path in sorted(home.rglob("*")) if path.is_file()]
    for path in (*files, *sorted(Path(__file__).parent.glob("*.py"))):
        content = path.read_bytes()
        digest.update(f"{path.name} {len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()[:32]


def _keep(parts: Drawn, path: Path) -> None:
    """Whoever reads sees nothing or all of it; the mark in front tells what a crash left half written."""
    path.parent.mkdir(parents=True, exist_ok=True)
    content = json.dumps(asdict(parts))
    with TemporaryDirectory(prefix=".drawing-", dir=path.parent) as work:
        written = Path(work) / path.name
        written.write_text(f"{hashlib.sha256(content.encode()).hexdigest()}\n{content}", encoding="utf-8")
        written.replace(path)


def _read(path: Path) -> Drawn | None:
    """What is kept there; None where it isn't there, or isn't whole."""
    try:
        mark, _, content = path.read_text(encoding="utf-8").partition("\n")
        if hashlib.sha256(content.encode()).hexdigest() != mark:
            return None
        found = json.loads(content)
        words = found.pop("pronunciations")
        lists = {name: tuple(lines) for name, lines in found.items()}
        return Drawn(**lists, pronunciations={word: tuple(said) for word, said in words.items()})
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _remove_old(home: Path) -> None:
    kept = sorted(home.glob("*.json"), key=lambda path: path.stat().st_mtime_ns, reverse=True)
    for path in kept[MOST_KEPT:]:
        path.unlink(missing_ok=True)
