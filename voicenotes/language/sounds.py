"""Sequences of sounds and how far apart two of them are.

A sequence is a string with one character for each sound. Distances are costs: 0 for the same sound, 1 for
sounds that have nothing in common. Features, weights and their source stand in english/sounds.yaml (ALINE,
Kondrak 2000).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_yaml

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

SOUNDS_FILE = "sounds.yaml"
APART = 1.0


@dataclass(frozen=True, eq=False)
class Sounds:
    """What sounds.yaml comes to: costs of taking one sound for another, of one too many, and the classes."""

    swap: Mapping[str, Mapping[str, float]]
    skip: Mapping[str, float]
    arpabet: Mapping[str, str]
    classes: Mapping[int, str | None]


@lru_cache(maxsize=1)
def sounds() -> Sounds:
    """sounds.yaml, read once. Raises PackError naming file and line when it is no YAML."""
    data = read_yaml(vocab_home() / SHARED_LANGUAGE / SOUNDS_FILE).value
    swap = {
        **_swaps(data["consonants"], ("place", "manner"), "consonants", data),
        **_swaps(data["vowels"], ("height", "back"), "vowels", data),
    }
    skip = {
        sound: data["skip"]["weak" if sound in data["weak"] else kind]
        for kind, sounds_of_kind in (("consonant", data["consonants"]), ("vowel", data["vowels"]))
        for sound in sounds_of_kind
    }
    class_of = {sound: members[0] for members in data["classes"] for sound in members.split()}
    return Sounds(swap, skip, data["arpabet"], {ord(sound): class_of.get(sound) for sound in skip})


def _swaps(
    described: Mapping[str, Sequence[str]], places: Sequence[str], kind: str, data: dict[str, Any]
) -> dict[str, dict[str, float]]:
    """The cost of each sound for each other one of its kind."""
    weights = data["weights"][kind]
    scale, least = float(data["scale"]), float(data["least"])
    features: dict[str, dict[str, float]] = {}
    for sound, said in described.items():
        scalar = {name: data["values"][name][value] for name, value in zip(places, said, strict=False)}
        features[sound] = {name: scalar.get(name, float(name in said[2:])) for name in weights}
    return {
        one: {
            two: 0.0
            if one == two
            else min(APART, max(least, sum(weights[f] * abs(mine[f] - theirs[f]) for f in weights) / scale))
            for two, theirs in features.items()
        }
        for one, mine in features.items()
    }


def sounds_of(arpabet: str) -> str:
    """An ARPAbet transcription ("T EY L") as one character a sound, the same sound twice running once."""
    written = sounds().arpabet
    sequence = "".join(written[symbol] for symbol in arpabet.split())
    return "".join(sound for at, sound in enumerate(sequence) if at == 0 or sequence[at - 1] != sound)


def skeleton(sequence: str) -> str:
    """The classes of a sequence's consonants, one character each."""
    return sequence.translate(sounds().classes)


def distance(one: str, two: str, most: float) -> float:
    """The least cost of making one sequence of sounds into the other; `most` or more where it is over that.

    A weighted edit distance: one sound for another costs what their features differ by, a consonant for a
    vowel 1, a sound too many or too few its `skip`.
    """
    if one == two:
        return 0.0
    table = sounds()
    skip, swap = table.skip, table.swap
    row = [0.0]
    for sound in two:
        row.append(row[-1] + skip[sound])
    for mine in one:
        costs, dropped = swap[mine], skip[mine]
        before, row = row, [row[0] + dropped]
        last = row[0]
        for at, sound in enumerate(two):
            last = min(before[at] + costs.get(sound, APART), before[at + 1] + dropped, last + skip[sound])
            row.append(last)
        if min(row) >= most:
            return most
    return row[-1]
