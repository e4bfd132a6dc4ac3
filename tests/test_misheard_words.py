"""What words that were put right teach: what is written for a term, or how a word is said.

Mis-hearings built by hand, as those of tests/data/misheard.yaml; no source.
"""

from __future__ import annotations

import pytest

from voicenotes.learning.misheard import Alias, Nothing, SaidLike, from_words
from voicenotes.review.forms import word_changes
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.pronunciation import in_dictionary
from voicenotes.vocabulary.schema import Pack


@pytest.fixture(scope="module")
def lathe() -> Pack:
    return load_pack("cnc_lathe")


@pytest.mark.parametrize(
    ("heard", "said", "alias", "term", "means"),
    [
        ("the whey wife is torn", "the way wiper is torn", "whey wife", "way wiper", ["axes.way_wipers"]),
        ("ball scrooge is noisy", "ball screw is noisy", "ball scrooge", "ball screw", ["ball_screw"]),
        ("terror t indexes", "turret indexes", "terror t", "turret", ["turret"]),
        ("back slash is two thou", "backlash is two thou", "back slash", "backlash",
         ["axes.backlash_x", "axes.backlash_z"]),
        # "can feel" alone is everyday English: the whole term is taken with it
        ("the chip can feel is jammed", "the chip conveyor is jammed", "chip can feel", "chip conveyor",
         ["chip_conveyor"]),
    ],
)  # fmt: skip
def test_what_is_written_for_a_term(
    lathe: Pack, heard: str, said: str, alias: str, term: str, means: list[str]
) -> None:
    [found] = from_words(heard, word_changes(heard, said), lathe)
    assert isinstance(found, Alias)
    assert (found.heard, found.said, list(found.means)) == (alias, term, means)


@pytest.mark.parametrize(
    ("heard", "said", "why"),
    [
        ("give is loose", "gib is loose", '"give" is an everyday word'),
        ("the spindle is fine", "the turret is fine", "doesn't sound like"),  # said otherwise, not mis-heard
        ("spindle crows", "spindle growls", '"growls" is in no term'),
        ("cool and tank is dry", "coolant tank is dry", "understood already"),  # guessed by its sound
        ("the is fine", "the turret is fine", "put in or taken out"),
        ("the turret turret is fine", "the turret is fine", "put in or taken out"),
        ("there is gibberish here", "there is rust here", "in no term"),
        ("the machinist is fine", "the machine is fine", "in no term|whole machine"),
        ("t7 x is loose", "turret is loose", "plain words"),
    ],
)
def test_nothing_is_learnt(lathe: Pack, heard: str, said: str, why: str) -> None:
    [found] = from_words(heard, word_changes(heard, said), lathe)
    assert isinstance(found, Nothing)
    assert any(one in found.why for one in why.split("|")), found.why


def test_a_term_of_other_things_is_offered_with_a_warning(lathe: Pack) -> None:
    heard, said = "spindle noise runs true", "spindle nose runs true"
    [found] = from_words(heard, word_changes(heard, said), lathe)
    assert isinstance(found, Alias)
    assert found.cautions and "itself a term of the pack" in found.cautions[0]


def test_a_word_that_no_dictionary_has_is_learnt_by_its_sound(lathe: Pack) -> None:
    assert not in_dictionary("drawtube")  # CMUdict, as it comes with pocketsphinx
    heard, said = "the draw chew is fine", "the drawtube is fine"
    found = [one for one in from_words(heard, word_changes(heard, said), lathe) if isinstance(one, SaidLike)]
    [one] = found
    assert one.word == "drawtube"
    assert one.sounds[-1] == "D R AO CH UW"  # CMUdict: draw D R AO, chew CH UW
    assert len(one.sounds) > 1  # what it was taken for stays


def test_a_judgement_is_learnt_by_its_sound(lathe: Pack) -> None:
    """It is in no term, so that nothing could stand for it; "growls" is G R AW L Z in CMUdict."""
    heard, said = "the spindle grow else", "the spindle growls"
    [found] = from_words(heard, word_changes(heard, said), lathe)
    assert isinstance(found, SaidLike)
    assert (found.word, found.sounds) == ("growls", ("G R AW L Z", "G R OW EH L S"))


def test_a_word_that_a_dictionary_has_is_said_as_that_says(lathe: Pack) -> None:
    assert in_dictionary("turret")
    found = from_words("terror t indexes", word_changes("terror t indexes", "turret indexes"), lathe)
    assert not any(isinstance(one, SaidLike) for one in found)
