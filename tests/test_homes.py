"""The packs are found from a checkout, an editable install and a wheel install alike."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from voicenotes.errors import PackError
from voicenotes.vocabulary import homes

ROOT = Path(__file__).parent.parent
SHOW = (
    "import sys; sys.path.insert(0, sys.argv[1]);"
    "from voicenotes.vocabulary.homes import vocab_home, shipped_packs;"
    "print(vocab_home()); print(shipped_packs())"
)


def shown_from(folder: Path) -> list[str]:
    ran = subprocess.run(
        [sys.executable, "-I", "-c", SHOW, str(folder)], capture_output=True, text=True, timeout=60, cwd="/"
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout.splitlines()


def test_checkout_and_editable_install_use_the_folder_beside_the_package() -> None:
    assert shown_from(ROOT) == [str(ROOT / "vocab"), "['cnc_lathe']"]


def test_wheel_carries_the_packs_inside_the_package(tmp_path: Path) -> None:
    built = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        capture_output=True, text=True, timeout=120, cwd=ROOT,
    )  # fmt: skip
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    installed = tmp_path / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(installed)
    home, packs = shown_from(installed)
    assert (home, packs) == (str(installed / "voicenotes" / "vocab"), "['cnc_lathe']")
    assert list((installed / "voicenotes" / "vocab" / "cnc_lathe" / "checks").glob("*.yaml"))
    assert (installed / "voicenotes" / "outputs" / "typeset" / "common.typ").is_file()


def test_missing_vocabulary_is_one_clear_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(homes, "__file__", str(tmp_path / "a" / "voicenotes" / "vocabulary" / "homes.py"))
    with pytest.raises(PackError, match="install voicenotes again"):
        homes.vocab_home()


def test_unknown_pack_names_the_shipped_ones() -> None:
    with pytest.raises(PackError, match="cnc_lathe"):
        homes.pack_folder("band_saw")
