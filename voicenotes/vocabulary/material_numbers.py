"""Numbers, units and measured values as technicians say them, for a speech engine's example sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.vocabulary.expand import WORDS_ONLY, plain_phrases
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_yaml

if TYPE_CHECKING:
    import random

    from voicenotes.vocabulary.schema import Pack

READINGS_A_LIMIT = 50
_ONES = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")


def _small(number: int) -> str:
    if number < 20:
        return _ONES[number]
    tens, ones = divmod(number, 10)
    return _TENS[tens - 2] + (f" {_ONES[ones]}" if ones else "")


def usual_unit_words() -> dict[str, list[str]]:
    """What people mostly say for the units of each dimension."""
    usual: dict[str, list[str]] = read_yaml(vocab_home() / SHARED_LANGUAGE / "units.yaml").value["usual"]
    return usual


_READING_CARRIERS = (
    "{term} is {number} {unit}", "{term} {number} {unit}", "{number} {unit} of {term}",
    "{term} reads {number} {unit}", "{term} is about {number} {unit}", "{number} {unit} on the {term}",
    "{term} comes out at {number} {unit}", "i make the {term} {number} {unit}",
    "{term} is only {number} {unit}", "{term} is {number} and a half {unit}",
    "{term} is {number} point {number} {unit}",
)  # fmt: skip


def reading_sentences(pack: Pack, draw: random.Random, numbers: list[str]) -> list[str]:
    """Measured values of each check that has a limit, in the units of its dimension."""
    units = usual_unit_words()
    small = [_small(number) for number in range(1, 61)]
    sentences = []
    for check in pack.checks:
        for limit in check.readings:
            unit_words = units.get(limit.dimension, [])
            terms = plain_phrases(check.terms)[:12]
            for _ in range(READINGS_A_LIMIT if unit_words and terms else 0):
                carrier = draw.choice(_READING_CARRIERS)
                number = draw.choice(small) if draw.random() < 0.75 else draw.choice(numbers)
                sentences.append(
                    carrier.replace("{term}", draw.choice(terms))
                    .replace("{unit}", draw.choice(unit_words))
                    .replace("{number}", number, 1)
                    .replace("{number}", draw.choice(small))
                )
    return sentences


def number_phrases(draw: random.Random) -> list[str]:
    """Numbers as technicians say them: small, hundreds, thousands, decimals, halves, digits."""
    phrases = [_small(number) for number in range(1, 100)] * 2
    for _ in range(250):
        hundred, rest = draw.randint(1, 9), draw.randint(1, 99)
        phrases.append(draw.choice([
            f"{_small(hundred)} hundred", f"{_small(hundred)} hundred and {_small(rest)}",
            f"{_small(hundred)} {_small(max(10, rest))}", f"a hundred and {_small(rest)}",
            f"{_small(rest)} thousand", f"{_small(rest)} thousand {_small(hundred)} hundred",
            f"{_small(hundred)} thousand", f"{_small(draw.randint(11, 49))} hundred",
            f"point {_small(hundred)}", f"point oh {_small(hundred)}", f"point oh oh {_small(hundred)}",
            f"{_small(rest)} point {_small(hundred)}", f"{_small(hundred)} and a half", "half a",
            "a couple of", f"zero point {_small(hundred)}", f"two thousand and {_small(draw.randint(1, 24))}",
            f"twenty {_small(draw.randint(10, 24))}", f"nineteen ninety {_small(hundred)}",
            " ".join(draw.choice([*_ONES[1:10], "oh"]) for _ in range(draw.randint(4, 7))),
            " ".join(draw.choice(_ONES[:10]) for _ in range(draw.randint(4, 7))),
        ]))  # fmt: skip
    return phrases


def spoken_digits(draw: random.Random, count: int) -> str:
    """Digits one by one, nought as "zero" or "oh", two alike at times as "double"."""
    said: list[str] = []
    while len(said) < count:
        if draw.random() < 0.06:
            said += ["double", draw.choice(_ONES[:10])]
        else:
            said.append(draw.choice([*_ONES[:10], "oh"]))
    return " ".join(said)


def unit_words() -> list[str]:
    """All spoken forms of the shared units that are plain words."""
    data = read_yaml(vocab_home() / SHARED_LANGUAGE / "units.yaml").value
    found: set[str] = set()

    def collect(value: object) -> None:
        if isinstance(value, dict):
            for key, item in value.items():
                if key in ("forms", "said", "spoken", "words", "say"):
                    found.update(_strings(item))
                collect(item)
        elif isinstance(value, list):
            for item in value:
                collect(item)

    collect(data)
    return sorted(word for word in found if WORDS_ONLY.match(word))


def _strings(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, list):
        return [item for item in value if isinstance(item, str)]
    return []
