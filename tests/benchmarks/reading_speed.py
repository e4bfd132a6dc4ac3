"""Words a second of reading, beside spaCy's blank English tokenizer in the same run; and how time grows.

    python tests/benchmarks/reading_speed.py [rounds]

The text is the demonstration visit's eight texts and the pack's labelled sentences (6,500 words in all), over
and over, cut at a number of words. Reading is the whole way from text to record; spaCy only splits the text
into tokens. The two take turns after one call each that does not count, so that a busy machine slows both
alike; the best of the rounds counts. A growth of 1.0 from 10,000 to 40,000 words is linear.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from itertools import cycle, islice
from pathlib import Path

import spacy

import voicenotes
from voicenotes.vocabulary.load import load_sentences

PACK = "cnc_lathe"
TEXTS = Path(__file__).parents[2] / "demo_recordings" / "texts"
SMALL, LARGE = 10_000, 40_000


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
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    pack = voicenotes.load_pack(PACK)
    tokenizer = spacy.blank("en")
    actions: dict[str, Callable[[str], object]] = {
        "voicenotes read_text": lambda text: voicenotes.read_text(text, pack),
        "spaCy blank English": tokenizer.make_doc,
    }
    texts = {words: text_of(words) for words in (SMALL, LARGE)}
    for action in actions.values():
        action(texts[SMALL])  # warm
    best = {(name, words): float("inf") for name in actions for words in texts}
    for _ in range(rounds):
        for words, text in texts.items():
            for name, action in actions.items():
                best[name, words] = min(best[name, words], seconds_of(action, text))
    print(f"{'':<22}{'words':>8}{'seconds':>10}{'words/s':>12}{'growth':>8}")
    for name in actions:
        for words in texts:
            growth = best[name, words] / best[name, SMALL] * SMALL / words
            rate = words / best[name, words]
            print(f"{name:<22}{words:>8}{best[name, words]:>10.3f}{rate:>12,.0f}{growth:>8.2f}")
    ours, theirs = (best[name, SMALL] for name in actions)
    print(f"reading takes {ours / theirs:.1f} times as long as spaCy's tokenizer ({SMALL} words)")


if __name__ == "__main__":
    main()
