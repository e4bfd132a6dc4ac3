"""Where the packs stand: inside an installed wheel, or at the top of a checkout or editable install."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from voicenotes.errors import PackError

SHARED_LANGUAGE = "english"


def vocab_home() -> Path:
    """The folder that holds the shipped packs and the shared `english` data.

    A wheel carries it as `voicenotes/vocab`; in a checkout and an editable install it is `vocab`
    beside the package folder. Raises PackError when neither is there.
    """
    package = Path(__file__).resolve().parent.parent
    for home in (package / "vocab", package.parent / "vocab"):
        if (home / SHARED_LANGUAGE).is_dir():
            return home
    raise PackError(f"the vocabulary folder is missing beside {package}; install voicenotes again")


@lru_cache(maxsize=1)
def everyday_words() -> tuple[str, ...]:
    """The ordinary words of `english/everyday_words.txt`, most frequent first, read once."""
    return tuple(listed_lines(vocab_home() / SHARED_LANGUAGE / "everyday_words.txt"))


def listed_lines(path: Path) -> list[str]:
    """A list file's lines, without empty ones and remarks that start with #."""
    lines = (line.strip() for line in path.read_text(encoding="utf-8").splitlines())
    return [line for line in lines if line and not line.startswith("#")]


def shipped_packs() -> list[str]:
    """Names of the packs that come with voicenotes, sorted."""
    return sorted(path.parent.name for path in vocab_home().glob("*/pack.yaml"))


def pack_folder(name_or_folder: str | Path) -> Path:
    """The folder of a shipped pack by name, or of a pack of one's own by path.

    Raises PackError naming the shipped packs when there is no such pack.
    """
    folder = Path(name_or_folder)
    if (folder / "pack.yaml").is_file():
        return folder
    shipped = vocab_home() / str(name_or_folder)
    if (shipped / "pack.yaml").is_file():
        return shipped
    raise PackError(
        f"no pack '{name_or_folder}': give a folder with a pack.yaml in it, "
        f"or one of {', '.join(shipped_packs())}"
    )
