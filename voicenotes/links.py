"""Which paths are files to be read: no folders, pipes or devices, no links that lead out of a folder."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

LEADS_OUT = "is a link that leads out of its folder, so it is not read; put a copy of the file in its place"


def leads_out(path: Path) -> bool:
    """Whether a path is a symbolic link whose target is not in the folder it stands in, or below.

    A link in a circle counts as leading out; one that leads nowhere does not, nor does a hard link.
    """
    try:
        if not path.is_symlink():
            return False
        return not path.resolve().is_relative_to(path.parent.resolve())
    except (OSError, RuntimeError):  # a circle of links
        return True


def no_file_because(path: Path, kind: str) -> str | None:
    """Why a path is not read: a link that leads out, a folder, anything but a file; None for files.

    `kind` is what was looked for: "recording" or "transcript". A path that leads nowhere gives None too.
    """
    if leads_out(path):
        return LEADS_OUT
    if path.is_dir():
        return f"is a folder, not a {kind}; name a file in it"
    if path.exists() and not path.is_file():
        return f"is not an ordinary file; save the {kind} as a file first"
    return None
