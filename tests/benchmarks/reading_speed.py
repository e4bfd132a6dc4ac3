"""Words a second of reading, beside spaCy's blank English tokenizer in the same run; and how time grows.

    python tests/benchmarks/reading_speed.py [--rounds 3] [--words 10000,40000]

The text is the demonstration visit's eight texts and the pack's labelled sentences (6,500 words in all), over
and over, cut at a number of words. Reading is the whole way from text to record; spaCy only splits the text
into tokens. The two take turns after one call each that does not count, so that a busy machine slows both
alike; the best of the rounds counts. A growth of 1.0 from the smallest number of words on is linear; with
`--rounds 1 --words 100000,1000000` it takes some minutes and 4 GB.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from itertools import cycle, islice
from pathlib import Path

import spacy

import voicenotes
from voicenotes.vocabulary.load import load_sentences

PACK = "cnc_lathe"
TEXTS = Path(__file__).parents[2] / "demo_recordings" / "texts"
SIZES = "10000,40000"


def text_of(words: int) -> str:
    """So many words of dictation, the same each time."""
    said = [path.read_text(encoding="utf-8") for path in sorted(TEXTS.glob("*.txt"))]
    said += [text.rstrip(".") + "." for _, _, sentence in load_sentences(PACK) for text in sentence.texts]
    return " ".join(islice(cycle(" ".join(said).split()), words))


def seconds_of(action: Callable[[str], object], text: str) -> float:
    """Wall time of one call."""
    begin = time.perf_counter()
    action(text)
    return time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--words", default=SIZES, help="numbers of words, smallest first")
    options = parser.parse_args()
    rounds, sizes = options.rounds, [int(size) for size in options.words.split(",")]
    small = sizes[0]
    pack = voicenotes.load_pack(PACK)
    tokenizer = spacy.blank("en").tokenizer
    actions: dict[str, Callable[[str], object]] = {
        "voicenotes read_text": lambda text: voicenotes.read_text(text, pack),
        "spaCy blank English": tokenizer,
    }
    texts = {words: text_of(words) for words in sizes}
    for action in actions.values():
        action(texts[small])  # warm
    best = {(name, words): float("inf") for name in actions for words in texts}
    for _ in range(rounds):
        for words, text in texts.items():
            for name, action in actions.items():
                best[name, words] = min(best[name, words], seconds_of(action, text))
    print(f"{'':<22}{'words':>8}{'seconds':>10}{'words/s':>12}{'growth':>8}")
    for name in actions:
        for words in texts:
            growth = best[name, words] / best[name, small] * small / words
            rate = words / best[name, words]
            print(f"{name:<22}{words:>8}{best[name, words]:>10.3f}{rate:>12,.0f}{growth:>8.2f}")
    ours, theirs = (best[name, small] for name in actions)
    print(f"reading takes {ours / theirs:.1f} times as long as spaCy's tokenizer ({small} words)")


if __name__ == "__main__":
    main()
