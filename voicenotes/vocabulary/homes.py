"""Where the packs stand: inside an installed wheel, or at the top of a checkout or editable install."""

from __future__ import annotations

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
