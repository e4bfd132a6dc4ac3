"""Guards against what recognisers are known to do wrong, whichever recogniser wrote the words.

| failure | which guard | what speaks against the words |
| --- | --- | --- |
| word times that drift or leave the recording | `guard_times` | where speech is heard |
| loops: the same words over and over | `guard_loops` | the repeats themselves, their pace, speech heard |
| text invented over silence or noise | `guard_silence` | nobody is heard, and the words are improbable |
| phrases known to be invented | `guard_silence` | a list, and nobody is heard for long enough |
| more words than can be said | `guard_silence` | words for each second in which speech is heard |

What is thrown out comes back as `LeftOut` with its reason. In doubt a word is kept with half its confidence:
a word too many can be seen in the record, a remark that is lost can't.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from typing import TYPE_CHECKING, NamedTuple

from voicenotes.model import LeftOut, Word
from voicenotes.speech.guard_limits import GuardLimits
from voicenotes.speech.guard_loops import repeats
from voicenotes.speech.guard_silence import judged, known_inventions
from voicenotes.speech.guard_times import onto_speech, within

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.speech.passage import Passage
    from voicenotes.speech.voice_activity import VoiceActivity


class Guarded(NamedTuple):
    """The words that count, in order of time, and those that don't."""

    words: tuple[Word, ...]
    left_out: tuple[LeftOut, ...]


def guarded(
    passages: Sequence[Passage], activity: VoiceActivity, limits: GuardLimits | None = None
) -> Guarded:
    """The words of passages in order, times put right, with what nobody said taken out."""
    limits = limits or GuardLimits()
    passages = [onto_speech(passage, activity, limits) for passage in within(passages, activity.seconds)]
    passages = within(passages, activity.seconds)
    words = [word for passage in passages for word in passage.words]
    reasons = repeats(words, activity, limits)
    confidences: list[float] = []
    first = 0
    for passage in passages:
        inside = range(first, first + len(passage.words))
        kept = [index for index in inside if index not in reasons]
        found = judged(passage, [words[index] for index in kept], words, activity, limits)
        reasons |= {kept[index]: why for index, why in found.reasons.items()}
        factors = dict(zip(kept, found.factors, strict=True))
        confidences += [words[index].confidence * factors.get(index, 1.0) for index in inside]
        first += len(passage.words)
    told = [
        word.model_copy(update={"confidence": confidence})
        for index, (word, confidence) in enumerate(zip(words, confidences, strict=True))
        if index not in reasons
    ]
    return Guarded(tuple(told), _left_out(words, reasons))


def guards_digest(limits: GuardLimits | None = None) -> str:
    """A short digest of the limits and of the known phrases, for the key of kept transcripts."""
    content = repr((asdict(limits or GuardLimits()), sorted(known_inventions())))
    return hashlib.sha256(content.encode()).hexdigest()[:12]


def _left_out(words: Sequence[Word], reasons: dict[int, str]) -> tuple[LeftOut, ...]:
    """Words left out for one reason, one after the other, as one text."""
    runs: list[list[int]] = []
    for index in sorted(reasons):
        if runs and runs[-1][-1] == index - 1 and reasons[runs[-1][-1]] == reasons[index]:
            runs[-1].append(index)
        else:
            runs.append([index])
    return tuple(
        LeftOut(
            text=" ".join(words[index].text for index in run),
            start=words[run[0]].start,
            end=max(words[index].end for index in run),
            why=reasons[run[0]],
        )
        for run in runs
    )
