"""What is known so far of one recording that is being heard, and what became of it in the end."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from voicenotes.files import Stamp, sha256_of, stamp_of
from voicenotes.hearing.kept import Heard
from voicenotes.model import Transcript

if TYPE_CHECKING:
    from pathlib import Path

    from voicenotes.hearing.messages import Ended, Failed, Piece

CHANGED = (
    "was being changed while it was read, so nothing of it was used; wait until its copy is whole, "
    "then process the visit again"
)
GONE = "was taken away while it was read; what was heard of it is in the record: put the file back"


@dataclass
class State:
    """One recording that must be transcribed: its content's hash and the stamp of its file before that was
    taken, its windows, and what the tasks on it said. `done` is seconds by part.
    """

    path: Path
    sha256: str | None
    stamp: Stamp | None
    seconds: float = 0.0
    pieces: dict[int, Piece] = field(default_factory=dict)
    parts: int = 1
    done: dict[int, float] = field(default_factory=dict)
    ended: list[Ended] = field(default_factory=list)
    failed: list[Failed] = field(default_factory=list)

    @property
    def is_over(self) -> bool:
        """Whether all tasks on it have ended."""
        return len(self.ended) + len(self.failed) == self.parts


def outcome(state: State) -> Heard:
    """What became of a recording whose tasks are over."""
    touched = _touched(state)
    if touched == CHANGED:
        return Heard(problem=CHANGED)
    if state.failed:
        return _broken_off(state)
    end = state.ended[0]
    return Heard(
        transcript=joined(state.pieces, end.seconds),
        seconds=end.seconds,
        problem=touched or end.problem,
        created_at=end.created_at,
        quality=next((ended.quality for ended in state.ended if ended.quality), None),
        sha256=state.sha256,
    )


def is_untouched(state: State) -> bool:
    """Whether the file is what it was when its hash was taken."""
    return _touched(state) is None


def _broken_off(state: State) -> Heard:
    """What was heard of a recording before something went wrong."""
    failed = state.failed[0]
    line = f"could not be transcribed: {failed.line}" if failed.where == "engine" else failed.line
    if not state.pieces:
        return Heard(problem=line, sha256=state.sha256)
    transcript = joined(state.pieces, 0.0)
    return Heard(
        transcript=transcript,
        seconds=transcript.seconds,
        problem=f"was read only in part: {line}",
        sha256=state.sha256,
    )


def joined(pieces: dict[int, Piece], seconds: float) -> Transcript:
    """The transcript of a whole recording from those of its windows."""
    parts = [pieces[number].transcript for number in sorted(pieces)]
    words = tuple(word for part in parts for word in part.words)
    length = seconds or max((word.end for word in words), default=0.0)
    left_out = tuple(left for part in parts for left in part.left_out)
    utterances = tuple(start for part in parts for start in part.utterances)
    joined = {"words": words, "left_out": left_out, "seconds": length, "utterances": utterances}
    return parts[0].model_copy(update=joined)


def _touched(state: State) -> str | None:
    """What happened to the file while it was read; None if nothing did."""
    now, before = stamp_of(state.path), state.stamp
    if now is None:
        return None if before is None else GONE
    if before is None or (now.size, now.written_ns, now.inode) != (
        before.size,
        before.written_ns,
        before.inode,
    ):
        return CHANGED
    if now != before and sha256_of(state.path) != state.sha256:
        return CHANGED
    if state.ended and not state.failed and not _fit_together(state):
        return CHANGED
    return None


def _fit_together(state: State) -> bool:
    """Whether all tasks saw the same recording, and every window of it was heard."""
    lengths = {(ended.seconds, ended.windows) for ended in state.ended}
    return len(lengths) == 1 and set(state.pieces) == set(range(state.ended[0].windows))
