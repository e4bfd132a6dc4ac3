"""Additions to a pack written to the user's folder: whole or not at all, and by several processes at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.errors import LearningError, VisitError
from voicenotes.files import write_atomically
from voicenotes.lock import short_lock
from voicenotes.vocabulary.overlay import overlay_file, read_overlay
from voicenotes.vocabulary.overlay_text import overlay_text

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from voicenotes.vocabulary.overlay import Overlay

LOCK_FILE = ".overlays.lock"


def change_overlay(
    pack_id: str, change: Callable[[Overlay], Overlay], folder: str | Path | None = None
) -> Path:
    """Change a pack's additions by what stands in their file at that moment; the file.

    Raises PackError when the file can't be read, and LearningError when it can't be written.
    """
    path = overlay_file(pack_id, folder)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_symlink():
            path = path.resolve()  # settings are often kept elsewhere and linked: the link stays
        with short_lock(path.parent, path.parent / LOCK_FILE):
            before = read_overlay(path, pack_id)
            after = change(before)
            if after != before:
                write_atomically(path, overlay_text(after))
    except OSError as error:
        raise _cannot_write(path, error) from None
    except VisitError as error:
        reason = error.__context__
        raise _cannot_write(path, reason if isinstance(reason, OSError) else error) from None
    return path


def _cannot_write(path: Path, error: Exception) -> LearningError:
    reason = getattr(error, "strerror", None) or str(error)
    return LearningError(
        f"{path}: your additions can't be written ({reason}); change the folder's permissions, or name "
        "another folder in VOICENOTES_OVERLAYS"
    )
