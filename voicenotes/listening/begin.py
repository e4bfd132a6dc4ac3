"""What must be known before listening begins: the visit's folder, the engine, what was said there before."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.errors import VisitError
from voicenotes.files import check_writable, remove_left_overs, sha256_of, visit_folder
from voicenotes.hearing.kept import recall
from voicenotes.listing import is_transcript, recordings_in
from voicenotes.lock import visit_lock
from voicenotes.visit import ear_of, home_of, in_visit_order, process_visit, read_ready

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from voicenotes.hearing.hear import Progress
    from voicenotes.hearing.kept import Ear
    from voicenotes.listening.live_record import Recordings
    from voicenotes.vocabulary.schema import Pack


@contextlib.contextmanager
def listening_in(
    folder: str | Path,
    pack: Pack,
    engine: str = "auto",
    model: str | None = None,
    progress: Progress | None = None,
    say: Callable[[str], None] | None = None,
) -> Iterator[tuple[Path, Ear, Recordings]]:
    """The visit's folder, made if it isn't there, its ear, and the recordings that it has already.

    Those are processed first, so that the talk goes on where it ended. The visit is locked inside. Raises
    VisitError, EngineError.
    """
    path = _made(folder)
    check_writable(path)
    if recordings_in(path).recordings:
        process_visit(path, pack, engine, model, progress=progress, say=say)
    home = home_of(path)
    ear, line = ear_of(home, pack, engine, model, False, progress, say)
    if say:
        say(line)
    with visit_lock(path, home):
        remove_left_overs(path, home)
        yield path, ear, _recordings(path, ear)


def _made(folder: str | Path) -> Path:
    path = Path(folder).expanduser()
    if not path.exists():
        try:
            path.mkdir()
        except OSError as error:
            raise VisitError(f"{folder}: can't be made ({error.strerror}); name another folder") from None
    return visit_folder(path)


def _recordings(folder: Path, ear: Ear) -> Recordings:
    heard = {}
    for path in recordings_in(folder).recordings:
        if is_transcript(path):
            heard[path] = read_ready(path)
        elif (sha256 := sha256_of(path)) and (kept := recall(ear, sha256)):
            heard[path] = kept
    return in_visit_order(heard, None)
