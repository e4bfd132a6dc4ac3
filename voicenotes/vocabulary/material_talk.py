"""What stands in the slots that every pack shares: cues, values, and what is read off a plate."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from voicenotes.vocabulary.expand import WORDS_ONLY, plain_phrases
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.material_numbers import spoken_digits, usual_unit_words
from voicenotes.vocabulary.yaml_files import read_yaml

if TYPE_CHECKING:
    import random
    from collections.abc import Sequence

    from voicenotes.vocabulary.schema import Pack

PHRASES_DRAWN = 600
CODES_DRAWN = 200
LETTERS = "abcdefghijklmnopqrstuvwxyz"


def cue_fillers(pack: Pack) -> dict[str, list[str]]:
    """What the pack's cues of each kind say, by kind, without those that are only the end of a word."""
    found: dict[str, list[str]] = {}
    for cue in pack.cues:
        said = [phrase for phrase in plain_phrases(cue.phrases) if WORDS_ONLY.match(phrase)]
        found.setdefault(cue.kind, []).extend(phrase for phrase in said if phrase not in ("n't", "nt"))
    return {kind: phrases for kind, phrases in found.items() if phrases}


def value_phrases(draw: random.Random, numbers: Sequence[str]) -> list[str]:
    """Numbers with the units that people mostly say, of every dimension alike."""
    units = list(usual_unit_words().values())
    return [f"{draw.choice(numbers)} {draw.choice(draw.choice(units))}" for _ in range(PHRASES_DRAWN)]


def plate_fillers(draw: random.Random) -> dict[str, list[str]]:
    """Digits, letters and codes as they are read off a plate, and words that letters are spelled with."""
    words = _spelling_words()
    spelling = [word for said in words.values() for word in said]
    digits = [spoken_digits(draw, draw.randint(2, 7)) for _ in range(CODES_DRAWN)]
    codes = []
    for _ in range(CODES_DRAWN):
        letters = draw.choices(LETTERS, k=draw.randint(1, 3))
        said = letters if draw.random() < 0.6 else [draw.choice(words[letter]) for letter in letters]
        parts = [" ".join(said), spoken_digits(draw, draw.randint(1, 5))]
        if draw.random() < 0.3:
            parts.append(draw.choice(LETTERS))
        if draw.random() < 0.3:
            parts.insert(1, draw.choice(["dash", "slash"]))
        codes.append(" ".join(parts))
    return {"digits": digits, "code": codes, "letter": list(LETTERS), "spelling": spelling}


@lru_cache(maxsize=1)
def _spelling_words() -> dict[str, list[str]]:
    """The words that stand for each letter when codes are spelled out: spelling.yaml."""
    data = read_yaml(vocab_home() / SHARED_LANGUAGE / "spelling.yaml").value["letters"]
    words: dict[str, list[str]] = {letter: [] for letter in LETTERS}
    for word, letter in data.items():
        if len(word) > 3:  # the others say the letter's own name
            words[letter].append(word)
    return {letter: said or [letter] for letter, said in words.items()}
