"""Symbolic links in a visit's folder: one to a file beside it is read, one that leads elsewhere is not."""

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
