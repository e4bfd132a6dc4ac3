"""How far apart sounds and sequences of sounds are, against ALINE as NLTK has it, and by plain examples."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicenotes.language.sounds import APART, distance, skeleton, sounds, sounds_of
from voicenotes.vocabulary.homes import vocab_home
from voicenotes.vocabulary.pronunciation import bundled_dictionary
from voicenotes.vocabulary.yaml_files import read_yaml

FAR = 99.0
CONSONANTS = read_yaml(vocab_home() / "english" / "sounds.yaml").value["consonants"]


@pytest.mark.parametrize(("one", "two"), list(combinations(sorted(CONSONANTS), 2)))
def test_consonants_differ_as_in_aline(one: str, two: str) -> None:
    """Source: nltk.metrics.aline, a port of Kondrak 2002; its `delta` over the scale of sounds.yaml."""
    from nltk.metrics import aline

    expected = min(APART, max(0.1, aline.delta(one, two) / 40))
    assert sounds().swap[one][two] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("near", "far"),
    [  # each pair of a line: the first two sounds are nearer than the last two (common phonetics)
        (("t", "d"), ("t", "k")),
        (("p", "b"), ("p", "s")),
        (("m", "n"), ("m", "t")),
        (("s", "ʃ"), ("s", "t")),
        (("f", "θ"), ("f", "k")),
        (("i", "ɛ"), ("i", "o")),
        (("ə", "ʌ"), ("I", "o")),
    ],
)
def test_nearer_sounds_cost_less(near: tuple[str, str], far: tuple[str, str]) -> None:
    swap = sounds().swap
    assert swap[near[0]][near[1]] < swap[far[0]][far[1]]


def test_every_sound_of_the_dictionary_is_known() -> None:
    used = {symbol for said in bundled_dictionary().values() for one in said for symbol in one.split()}
    assert used <= sounds().arpabet.keys()
    written = {sound for symbols in sounds().arpabet.values() for sound in symbols}
    assert written <= sounds().skip.keys()
    assert written <= sounds().swap.keys()


@pytest.mark.parametrize(
    ("arpabet", "sequence"),
    [
        ("CH AH K", "tʃək"),  # an affricate is two sounds
        ("EH N T ER", "ɛntəɹ"),  # "er" is a vowel and an r
        ("B L EH K K IY", "blɛkI"),  # the same sound twice is heard once
    ],
)
def test_arpabet_as_sounds(arpabet: str, sequence: str) -> None:
    assert sounds_of(arpabet) == sequence


@pytest.mark.parametrize(
    ("one", "two", "cost"),
    [
        ("tɛn", "tɛn", 0.0),
        ("tɛn", "dɛn", 0.125),  # voicing: 5 of 40
        ("tɛn", "tɛnt", 0.7),  # a consonant more
        ("tɛn", "tɛnə", 0.3),  # a weak vowel more
        ("tɛn", "", 0.7 + 0.4 + 0.7),
        ("", "ɛ", 0.4),
        ("t", "ɛ", 1.0),  # a consonant for a vowel
    ],
)
def test_cost_of_making_one_into_the_other(one: str, two: str, cost: float) -> None:
    assert distance(one, two, FAR) == pytest.approx(cost)


def test_consonant_classes() -> None:
    assert skeleton("stɛdIɹɛst") == skeleton("stədIɹɛzd") == "sttɹst"
    assert skeleton("w") == skeleton("o") == ""


SEQUENCES = st.text(alphabet=sorted(sounds().skip), max_size=10)


@given(SEQUENCES, SEQUENCES)
def test_distance_is_the_same_both_ways(one: str, two: str) -> None:
    assert distance(one, two, FAR) == pytest.approx(distance(two, one, FAR))


@given(SEQUENCES, SEQUENCES, st.floats(min_value=0.1, max_value=5))
def test_a_bound_changes_nothing_below_it(one: str, two: str, most: float) -> None:
    true = distance(one, two, FAR)
    bounded = distance(one, two, most)
    assert bounded == pytest.approx(true) if true < most else bounded >= most
