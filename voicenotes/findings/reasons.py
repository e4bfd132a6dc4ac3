"""Why something was not tested, in the speaker's words, where the reason was cut off as a remark of its own.

"I could not check the belt," and "because the guard is bolted on" are two remarks; a gap quotes both.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

if TYPE_CHECKING:
    from collections.abc import Iterable

    from voicenotes.findings.settle import SpokenRemark

LONGEST_PAUSE_S = 2.0  # what comes later is no reason for what was said before
Place = tuple[str, float]  # recording, and the end of a remark in it in seconds


class ReasonWords(BaseModel):
    """The whole of reasons.yaml; the fields are explained there."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    always: tuple[str, ...]
    untaken: tuple[str, ...]


@lru_cache(maxsize=1)
def reason_words() -> ReasonWords:
    """reasons.yaml, read once. Raises PackError naming file and line when it is malformed."""
    return read_as(vocab_home() / SHARED_LANGUAGE / "reasons.yaml", ReasonWords)


def reasons_behind(remarks: Iterable[SpokenRemark]) -> dict[Place, str]:
    """For the end of each remark the words of the next, where these read as the reason for it."""
    found: dict[Place, str] = {}
    before: SpokenRemark | None = None
    for spoken in remarks:
        if before is not None and before.recording == spoken.recording and _is_reason(before, spoken):
            found[before.recording, before.remark.end] = spoken.remark.quote
        before = spoken
    return found


def _is_reason(said: SpokenRemark, behind: SpokenRemark) -> bool:
    if behind.remark.start - said.remark.end > LONGEST_PAUSE_S or behind.remark.taken_back:
        return False
    words = f"{' '.join(behind.remark.quote.lower().split())} "
    if any(words.startswith(f"{opening} ") for opening in reason_words().always):
        return True
    if behind.remark.is_tagged:
        return False
    if any(words.startswith(f"{opening} ") for opening in reason_words().untaken):
        return True
    return said.remark.quote.rstrip().endswith(",")
