"""Labelled sentences as recordings: several in one, with pauses between, clean or in noise."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import yaml
from numpy.typing import NDArray
from spoken_voices import RATE, spoken
from workshop_noise import mixed

from voicenotes.model import Transcript, Word
from voicenotes.vocabulary.labels import LabelledSentence

SENTENCES_A_RECORDING = 10
PAUSE_S = 0.7
CLEAN = "clean"


@dataclass(frozen=True)
class Recording:
    """Some sentences in a row. `starts_s` has where each begins, in the middle of the pause before it."""

    labels: tuple[LabelledSentence, ...]
    samples: NDArray[np.float32]
    starts_s: tuple[float, ...]


def labelled_sentences(path: Path, limit: int | None) -> tuple[list[LabelledSentence], int]:
    """A set's sentences, and how many were left out: in digits (synthesisers differ in how they read
    them), or in several recordings. With a limit they are taken evenly from the whole set."""
    entries = [LabelledSentence(**entry) for entry in yaml.safe_load(path.read_text(encoding="utf-8"))]
    fit = [entry for entry in entries if entry.say and not re.search(r"\d", entry.say)]
    if limit is None or limit >= len(fit):
        return fit, len(entries) - len(fit)
    return [fit[i * len(fit) // limit] for i in range(limit)], len(entries) - len(fit)


def recordings(
    labels: Sequence[LabelledSentence], voice: str, level: str, noise: str, seed: int
) -> Iterator[Recording]:
    """The sentences spoken by the voice, ten a recording; `level` is "clean" or the ratio in dB."""
    pause = np.zeros(round(PAUSE_S * RATE), np.float32)
    for first in range(0, len(labels), SENTENCES_A_RECORDING):
        some = tuple(labels[first : first + SENTENCES_A_RECORDING])
        pieces, starts, at = [pause], [], pause.size
        for label in some:
            starts.append((at - pause.size / 2) / RATE)
            pieces += [spoken(label.say, voice), pause]
            at += pieces[-2].size + pause.size
        samples = np.concatenate(pieces)
        if level != CLEAN:
            samples = mixed(samples, float(level), noise, seed=1000 * seed + first)
        yield Recording(some, samples, tuple(starts))


def parted(transcript: Transcript, starts_s: Sequence[float]) -> list[Transcript]:
    """A recording's transcript cut where its sentences begin; times from the beginning of each."""
    edges = [0.0, *starts_s[1:], max(transcript.seconds, starts_s[-1])]
    parts = []
    for begin, end in pairwise(edges):
        words = [word for word in transcript.words if begin <= (word.start + word.end) / 2 < end]
        parts.append(
            Transcript(
                words=tuple(_earlier(word, begin) for word in words),
                engine=transcript.engine,
                model=transcript.model,
                seconds=end - begin,
            )
        )
    return parts


def _earlier(word: Word, seconds: float) -> Word:
    start = round(max(0.0, word.start - seconds), 3)
    return word.model_copy(update={"start": start, "end": round(max(start, word.end - seconds), 3)})
