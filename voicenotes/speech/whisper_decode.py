"""Decodes pieces of speech with faster-whisper, and decodes again what came out wrong.

Which of faster-whisper's settings guards against which failure:

- `vad_filter` off: `voice_activity` cuts the pieces beforehand. Against phrases and hotwords written over
  silence (1356): pauses of half a second and more are cut down.
- `condition_on_previous_text` False: against loops that feed on themselves (40, 465, 716).
- `temperature` 0 alone: retries at random depend on what was decoded before. `RECIPES` retries the same way
  each time; `doubt_about` says when, with Whisper's own limits, so that `compression_ratio_threshold` and
  `log_prob_threshold`, which steer the random retries, are None.
- `no_speech_threshold` and `hallucination_silence_threshold` None: both drop text without a word.
  `guard_silence` judges the same and keeps what it leaves out.
- `word_timestamps` True: the guards need to know when a word was said.
- `no_repeat_ngram_size`, `repetition_penalty` 1.1 in the last retries only: above 1.2 it spoils what is right
  (the maintainers in 716).

Several pieces are decoded at once by `BatchedInferencePipeline` where there are several. It writes no times
between the words, so a piece may end with its first sentence (485) or lack a stretch (1179), and it retries
nothing. So each batched piece is looked at: one that repeats itself, is improbable, or leaves two seconds of
speech without words is decoded again alone, with times. That is all that batching loses here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from voicenotes.model import Word
from voicenotes.speech.guard_limits import GuardLimits
from voicenotes.speech.guard_loops import compression_ratio
from voicenotes.speech.passage import Passage

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.speech.pieces import Piece
    from voicenotes.speech.voice_activity import VoiceActivity
    from voicenotes.speech.whisper_load import Loaded

OPTIONS: dict[str, Any] = {
    "language": "en",
    "beam_size": 5,
    "temperature": [0.0],
    "condition_on_previous_text": False,
    "word_timestamps": True,
    "vad_filter": False,
    "compression_ratio_threshold": None,
    "log_prob_threshold": None,
    "no_speech_threshold": None,
    "hallucination_silence_threshold": None,
}
UNREAD_S = 2.0


@dataclass(frozen=True)
class Recipe:
    """One way to decode a piece: with or without the hotwords, and settings beside `OPTIONS`."""

    hotwords: bool
    settings: tuple[tuple[str, Any], ...] = ()


# From the usual way to stricter ones; the hotwords go first, as they cause loops and inventions.
RECIPES = (
    Recipe(hotwords=True),
    Recipe(hotwords=False),
    Recipe(hotwords=False, settings=(("no_repeat_ngram_size", 6),)),
    Recipe(hotwords=False, settings=(("beam_size", 1), ("repetition_penalty", 1.1))),
)


def decode(
    loaded: Loaded, pieces: Sequence[Piece], hotwords: str, activity: VoiceActivity, limits: GuardLimits
) -> Iterator[tuple[Piece, list[Passage]]]:
    """Each piece with the passages that were written of it, their times those of the recording."""
    if len(pieces) > 1 and loaded.batch > 1:
        for first in range(0, len(pieces), loaded.batch):
            some = pieces[first : first + loaded.batch]
            for piece, passages in zip(some, _together(loaded, some, hotwords), strict=True):
                doubt = doubt_about(piece, passages, activity, limits)
                yield piece, _alone(loaded, piece, hotwords, activity, limits) if doubt else passages
    else:
        for piece in pieces:
            yield piece, _alone(loaded, piece, hotwords, activity, limits)


def doubt_about(
    piece: Piece, passages: Sequence[Passage], activity: VoiceActivity, limits: GuardLimits
) -> str | None:
    """Why a piece should be decoded again: "repetitive", "improbable", "unread"; None when all is well."""
    if compression_ratio(" ".join(passage.text for passage in passages)) > limits.compression:
        return "repetitive"
    if passages and _log_probability(passages) < limits.improbable_log:
        return "improbable"
    return "unread" if unread_s(piece, passages, activity, limits) >= UNREAD_S else None


def unread_s(
    piece: Piece, passages: Sequence[Passage], activity: VoiceActivity, limits: GuardLimits
) -> float:
    """The seconds of speech in the longest part of a piece that no word stands in."""
    words = [word for passage in passages for word in passage.words]
    longest = 0.0
    for stretch in piece.stretches:
        edge = stretch.start_s
        inside = [word for word in words if stretch.start_s <= word.start <= stretch.end_s]
        for begin, end in [*((word.start, word.end) for word in inside), (stretch.end_s, stretch.end_s)]:
            longest = max(longest, activity.heard_s(edge, max(edge, begin), limits.surely_heard))
            edge = max(edge, end)
    return longest


def _alone(
    loaded: Loaded, piece: Piece, hotwords: str, activity: VoiceActivity, limits: GuardLimits
) -> list[Passage]:
    """The first way of `RECIPES` that leaves no doubt, else the best: not repetitive, probable, whole."""
    tried: list[tuple[tuple[bool, float, float], list[Passage]]] = []
    for recipe in RECIPES:
        if tried and recipe == RECIPES[1] and not hotwords:
            continue
        options = {**OPTIONS, **dict(recipe.settings)}
        options["hotwords"] = (hotwords if recipe.hotwords else None) or None
        segments, _info = loaded.model.transcribe(piece.samples, **options)
        passages = [_passage(segment, piece) for segment in segments]
        doubt = doubt_about(piece, passages, activity, limits)
        if doubt is None:
            return passages
        probable = min(_log_probability(passages), limits.improbable_log)
        unread = round(unread_s(piece, passages, activity, limits))
        tried.append(((doubt != "repetitive", probable, -unread), passages))
        if doubt == "unread" and len(tried) > 1:  # it was no slip of the hotwords
            break
    return max(tried, key=lambda attempt: attempt[0])[1]  # the first of equals


def _together(loaded: Loaded, pieces: Sequence[Piece], hotwords: str) -> list[list[Passage]]:
    """The passages of each of several pieces, decoded in one batch."""
    import numpy as np
    from faster_whisper import BatchedInferencePipeline

    starts = [0.0]
    for piece in pieces:
        starts.append(starts[-1] + piece.seconds)
    clips = [
        {"start": start, "end": start + piece.seconds} for start, piece in zip(starts, pieces, strict=False)
    ]
    segments, _info = BatchedInferencePipeline(loaded.model).transcribe(
        np.concatenate([piece.samples for piece in pieces]),
        clip_timestamps=clips,
        batch_size=loaded.batch,
        hotwords=hotwords or None,
        **OPTIONS,
    )
    found: list[list[Passage]] = [[] for _ in pieces]
    for segment in segments:
        # `seek` is where the piece begins, in hundredths of a second rounded down.
        index = min(range(len(pieces)), key=lambda i: abs(starts[i] - segment.seek / 100))
        found[index].append(_passage(segment, pieces[index], starts[index]))
    return found


def _passage(segment: Any, piece: Piece, offset: float = 0.0) -> Passage:
    """A faster-whisper segment as a passage; its times count from `offset` seconds before the piece."""
    words = []
    for word in segment.words or ():
        if text := word.word.strip():
            start, end = piece.times(float(word.start) - offset, float(word.end) - offset)
            confidence = min(max(float(word.probability), 0.0), 1.0)
            words.append(Word(text=text, start=start, end=end, confidence=confidence))
    return Passage(tuple(words), float(segment.avg_logprob), float(segment.no_speech_prob))


def _log_probability(passages: Sequence[Passage]) -> float:
    """The mean of the passages' log probabilities, weighted by their words."""
    known = [(p.log_probability, len(p.words) or 1) for p in passages if p.log_probability is not None]
    count = sum(words for _, words in known)
    return sum(value * words for value, words in known) / count if count else 0.0
