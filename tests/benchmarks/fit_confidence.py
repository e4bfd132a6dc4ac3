"""Fits an engine's confidence, and says how far "0.8" is right eight times in ten.

    python tests/benchmarks/fit_confidence.py [--engine embedded|moonshine] [--voices slt,awb,heart,joe]
                                              [--snr clean,20,10] [--limit N] [--sets FILE ...]
                                              [--noise shop|hall] [--seed N] [--keep FILE]

Labelled sentences are spoken and put into noise as in speech.py, and heard. A word is right when the best
alignment with what was said has it. The curve of voicenotes/speech/confidence.py (of
moonshine_confidence.py for moonshine) is fitted to the even
recordings of every second voice; the table is of the odd recordings of the other voices: neither those voices
nor those texts were fitted on. Printed are the weights, to be put into WEIGHTS there, and for the weights in
use and for the new ones: ten bins of confidence with the share of right words, the expected calibration error
(mean distance of the two, by words), and the area under the curve.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import jiwer
import numpy as np
from numpy.typing import NDArray
from speech_measures import normalised
from spoken_sets import CLEAN, Recording, labelled_sentences, recordings
from spoken_voices import VOICES
from workshop_noise import KINDS

from voicenotes.speech import confidence, moonshine_confidence
from voicenotes.speech.embedded import EmbeddedEngine
from voicenotes.speech.engine import SpeechMaterial
from voicenotes.speech.moonshine import MoonshineEngine
from voicenotes.speech.voice_activity import voice_activity
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.material import speech_material

Floats = NDArray[np.float64]
SETS = Path(__file__).parents[1] / "evaluation"
NOT_LOOKED_INTO = ("frozen.yaml", "unseen_speakers.yaml")
RIDGE = 1.0
STEPS = 30
BINS = 10
WEIGHTS = {"embedded": confidence.WEIGHTS, "moonshine": moonshine_confidence.WEIGHTS}


@dataclass(frozen=True)
class HeardWord:
    """One word that was heard: its features, whether it was said, and where it is from."""

    features: tuple[float, ...]
    right: bool
    voice: str
    level: str
    recording: int


def main() -> None:
    options = _options()
    if options.keep and options.keep.is_file():
        words = [HeardWord(**row) for row in json.loads(options.keep.read_text())]
    else:
        words = _heard(options)
    if options.keep:
        options.keep.write_text(json.dumps([vars(word) for word in words]), encoding="utf-8")
    voices = sorted({word.voice for word in words}, key=options.voices.index)
    fitted_on = [word for word in words if word.voice in voices[::2] and word.recording % 2 == 0]
    held = [word for word in words if word.voice in voices[1::2] and word.recording % 2 == 1]
    weights = fitted(fitted_on)
    used_now = WEIGHTS[options.engine]
    print(f"fitted on {len(fitted_on)} words of {', '.join(voices[::2])}; weights, the constant first:")
    print(f"WEIGHTS = ({', '.join(f'{weight:.4g}' for weight in weights)})")
    for name, some in (("fitted on", fitted_on), ("held out", held)):
        for which, used in (("in use", np.array(used_now)), ("new", weights)):
            print(f"\n{name}, weights {which}")
            print_reliability(some, chances(some, used))
    print("\nheld out by level, weights new")
    for level in options.snr:
        some = [word for word in held if word.level == level]
        if some:
            likely = chances(some, weights)
            right = np.array([word.right for word in some], float)
            print(f"  {level:>6}  said {likely.mean():.3f}  right {right.mean():.3f}  ({len(some)} words)")


def _options() -> argparse.Namespace:
    def names(text: str) -> list[str]:
        return text.split(",")

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--pack", default="cnc_lathe")
    parser.add_argument("--engine", choices=list(WEIGHTS), default="embedded")
    parser.add_argument("--voices", type=names, default=["slt", "awb", "heart", "joe"])
    parser.add_argument("--snr", type=names, default=[CLEAN, "20", "10"])
    parser.add_argument("--noise", choices=KINDS, default=KINDS[0])
    parser.add_argument("--seed", type=int, default=0)
    known = sorted(path for path in SETS.glob("*.yaml") if path.name not in NOT_LOOKED_INTO)
    parser.add_argument("--sets", type=Path, nargs="+", default=known)
    parser.add_argument("--limit", type=int, default=16, help="sentences of each set, evenly (16)")
    parser.add_argument("--keep", type=Path, help="keep the words there, or take them from there")
    options = parser.parse_args()
    unknown = [name for name in options.voices if name not in VOICES]
    if unknown:
        parser.error(f"no voice {', '.join(unknown)}: there are {', '.join(VOICES)}")
    return options


def _heard(options: argparse.Namespace) -> list[HeardWord]:
    labels = [label for path in options.sets for label in labelled_sentences(path, options.limit)[0]]
    hear = _hearing(options.engine, speech_material(load_pack(options.pack)))
    words = []
    for voice in (name for name in options.voices if VOICES[name].present()):
        for level in options.snr:
            spoken = recordings(labels, voice, level, options.noise, options.seed)
            for number, recording in enumerate(spoken):
                heard = hear(recording.samples)
                rights = _rights(recording, [text for text, _ in heard])
                words += [
                    HeardWord(features, right, voice, level, number)
                    for (_, features), right in zip(heard, rights, strict=True)
                ]
            print(f"heard {voice} {level}: {len(words)} words so far", flush=True)
    return words


def _hearing(
    engine: str, material: SpeechMaterial
) -> Callable[[NDArray[np.float32]], list[tuple[str, tuple[float, ...]]]]:
    """What the engine makes of samples: each word with the values of its features."""
    if engine == "embedded":
        embedded = EmbeddedEngine(material)
        return lambda samples: [
            (word.text, confidence.values(features))
            for word, features in embedded.words_with_features(samples)
        ]
    moonshine = MoonshineEngine(material)
    return lambda samples: [
        (word.text, tuple(vars(known).values()))
        for passage, features in moonshine.passages_with_features(samples, voice_activity(samples))
        for word, known in zip(passage.words, features, strict=True)
    ]


def _rights(recording: Recording, heard: Sequence[str]) -> list[bool]:
    """Whether each word heard was said, by the alignment with the fewest errors."""
    said = " ".join(word for label in recording.labels for word in normalised(label.say))
    pieces = [(at, piece) for at, word in enumerate(heard) for piece in normalised(word)]
    if not pieces:
        return []
    rights = [True] * len(heard)
    aligned = jiwer.process_words(said, " ".join(piece for _, piece in pieces))
    for chunk in aligned.alignments[0]:
        if chunk.type in ("substitute", "insert"):
            for at, _ in pieces[chunk.hyp_start_idx : chunk.hyp_end_idx]:
                rights[at] = False
    return rights


def fitted(words: Sequence[HeardWord]) -> Floats:
    """The likeliest logistic curve's weights by Newton's method; a small penalty on all but the constant."""
    x = np.column_stack([np.ones(len(words)), np.array([word.features for word in words])])
    scale = np.maximum(x.std(axis=0), 1e-9)
    scale[0] = 1.0
    x /= scale
    y = np.array([word.right for word in words], float)
    penalty = np.full(x.shape[1], RIDGE)
    penalty[0] = 0.0
    weights = np.zeros(x.shape[1])
    for _ in range(STEPS):
        likely = 1.0 / (1.0 + np.exp(-x @ weights))
        slope = x.T @ (y - likely) - penalty * weights
        curve = (x * (likely * (1.0 - likely))[:, None]).T @ x + np.diag(penalty)
        weights += np.linalg.solve(curve, slope)
    result: Floats = weights / scale
    return result


def chances(words: Sequence[HeardWord], weights: Floats) -> Floats:
    """How likely each word is right with these weights."""
    x = np.column_stack([np.ones(len(words)), np.array([word.features for word in words])])
    result: Floats = 1.0 / (1.0 + np.exp(-np.clip(x @ weights, -30, 30)))
    return result


def print_reliability(words: Sequence[HeardWord], likely: Floats) -> None:
    """Ten bins of confidence, the share of right words in each, and two numbers over all."""
    right = np.array([word.right for word in words], float)
    bins = np.minimum((likely * BINS).astype(int), BINS - 1)
    error = 0.0
    print("  confidence   words   said  right")
    for number in range(BINS):
        here = bins == number
        if here.any():
            said, was = float(likely[here].mean()), float(right[here].mean())
            error += abs(said - was) * float(here.mean())
            print(
                f"  {number / BINS:.1f} to {(number + 1) / BINS:.1f}  {here.sum():6}  {said:.3f}  {was:.3f}"
            )
    order = np.argsort(likely, kind="stable")
    ranks = np.empty(len(order))
    ranks[order] = np.arange(1, len(order) + 1)
    good, bad = right.sum(), len(right) - right.sum()
    area = (ranks[right == 1].sum() - good * (good + 1) / 2) / max(1.0, good * bad)
    print(f"  expected calibration error {error:.3f}, area under the curve {area:.3f}, {len(words)} words")


if __name__ == "__main__":
    main()
