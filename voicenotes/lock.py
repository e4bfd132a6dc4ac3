"""One process at a time on a visit: a lock that names its owner and dies with it."""

from __future__ import annotations

import contextlib
import getpass
import json
import os
import platform
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.errors import BusyError, VisitError
from voicenotes.files import write_atomically

if TYPE_CHECKING:
    from collections.abc import Iterator

LOCK_FILE, OWNER_FILE = "lock", "owner.json"
POLL_S = 0.2


@contextlib.contextmanager
def visit_lock(folder: Path, home: Path, patience_s: float = 0.0) -> Iterator[None]:
    """Hold the lock of a visit; `home` is the folder in it for such files.

    The system takes the lock back when the process ends, however it ends. Where the machine itself is gone, a
    file server takes it back only after a while: wait for that with `patience_s`. Raises BusyError when
    another process still holds it then, naming that process.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(home / LOCK_FILE)
    try:
        lock.acquire(timeout=patience_s, poll_interval=POLL_S)
    except Timeout:
        raise BusyError(f"{folder}: is being processed {_owner(home)}; wait until that has ended") from None
    except (OSError, NotImplementedError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise VisitError(
            f"{folder}: can't be locked ({reason}); copy the visit to a folder on this machine"
        ) from None
    try:
        write_atomically(home / OWNER_FILE, json.dumps(_me()))
        yield
    finally:
        with contextlib.suppress(OSError):
            (home / OWNER_FILE).unlink()
        lock.release()


@contextlib.contextmanager
def short_lock(folder: Path, path: Path, patience_s: float = 10.0) -> Iterator[None]:
    """Hold the lock at `path` for a moment, waiting for others who do; the system takes it back by itself.

    Raises VisitError when it isn't had in time, or where nothing can be locked.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(path)
    try:
        lock.acquire(timeout=patience_s, poll_interval=0.01)
    except Timeout:
        raise VisitError(f"{folder}: is held by another process; end it and try again") from None
    except NotImplementedError:
        raise VisitError(f"{folder}: can't be locked; copy the visit to a folder on this machine") from None
    try:
        yield
    finally:
        lock.release()


def _me() -> dict[str, str | int]:
    """Who holds the lock: process, machine, user, since when (local time)."""
    try:
        user = getpass.getuser()
    except (OSError, KeyError):
        user = "unknown"
    since = datetime.now().isoformat(sep=" ", timespec="seconds")
    return {"process": os.getpid(), "machine": platform.node(), "user": user, "since": since}


def _owner(home: Path) -> str:
    """The owner in words; "by another process" when it has not said who it is.

    What a killed process said of itself stands until the next one has the lock and says who it is.
    """
    try:
        said = json.loads((home / OWNER_FILE).read_text(encoding="utf-8"))
        if said["machine"] == platform.node() and not _is_running(int(said["process"])):
            return "by another process"
        return f"by process {said['process']} of {said['user']} on {said['machine']} since {said['since']}"
    except (OSError, ValueError, KeyError, TypeError, OverflowError):
        return "by another process"


def _is_running(process: int) -> bool:
    """Whether this machine has such a process; yes where that can't be asked without harm."""
    if os.name != "posix":  # there, the question itself ends a process
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:  # somebody else's
        return True
    return True
