"""Talk that is about something else gives no findings: the share of foreign words around a remark.

The prose stands in books printed before 1900, whose words are in the public domain; it is quoted from
memory, so a comma may differ from the printed page.
"""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from reading_tables import NOTHING, assert_follows, shipped
from small_pack import write_pack

import voicenotes
from voicenotes.findings.read import transcript_of_text
from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.reader import views_of
from voicenotes.language.relevance import (
    ForeignWords,
    Limits,
    Relevance,
    common_words,
    foreign_words,
    relevance,
)
from voicenotes.language.words import words_of
from voicenotes.vocabulary.homes import everyday_words
from voicenotes.vocabulary.schema import Pack

PROSE = {
    "R. L. Stevenson, Treasure Island (1883), chapter 1, from memory":
        "I remember him as if it were yesterday, as he came plodding to the inn door, his sea-chest "
        "following behind him in a hand-barrow, a tall, strong, heavy, nut-brown man, his tarry pigtail "
        "falling over the shoulder of his soiled blue coat, his hands ragged and scarred, with black, "
        "broken nails, and the sabre cut across one cheek, a dirty, livid white.",
    "C. Dickens, A Christmas Carol (1843), stave 1, from memory":
        "The door of Scrooge's counting-house was open that he might keep his eye upon his clerk, who in "
        "a dismal little cell beyond, a sort of tank, was copying letters. Scrooge had a very small "
        "fire, but the clerk's fire was so very much smaller that it looked like one coal.",
    "C. Dickens, A Christmas Carol (1843), stave 1, of Scrooge, from memory":
        "Oh! But he was a tight-fisted hand at the grindstone, Scrooge! a squeezing, wrenching, "
        "grasping, scraping, clutching, covetous, old sinner! Hard and sharp as flint, from which no "
        "steel had ever struck out generous fire; secret, and self-contained, and solitary as an oyster.",
    "C. Dickens, A Tale of Two Cities (1859), book 1, chapter 1, from memory":
        "It was the best of times, it was the worst of times, it was the age of wisdom, it was the age "
        "of foolishness, it was the epoch of belief, it was the epoch of incredulity, it was the season "
        "of Light, it was the season of Darkness, it was the spring of hope, it was the winter of "
        "despair.",
    "C. Dickens, Bleak House (1853), chapter 1, from memory":
        "Smoke lowering down from chimney-pots, making a soft black drizzle, with flakes of soot in it "
        "as big as full-grown snowflakes, gone into mourning, one might imagine, for the death of the "
        "sun.",
    "C. Bronte, Jane Eyre (1847), chapter 1, from memory":
        "There was no possibility of taking a walk that day. We had been wandering, indeed, in the "
        "leafless shrubbery an hour in the morning; but since dinner the cold winter wind had brought "
        "with it clouds so sombre, and a rain so penetrating, that further out-door exercise was now out "
        "of the question.",
}  # fmt: skip

# Remarks long enough to be a subject of their own in the midst of other talk, and what they say.
REMARKS = [
    ("No leaks at the hydraulic unit, the hydraulic pump is quiet and the hydraulic oil is clear.",
     "hydraulics.leaks ok, hydraulics.pump ok, hydraulics.oil_condition ok"),
    ("The turret indexes both ways, the spindle belts are tight, the encoder belt is cracked and the way "
     "covers are straight.",
     "turret.indexing ok, drive.spindle_belts ok, drive.encoder_belt defect major, axes.way_covers ok"),
]  # fmt: skip

# Said amid the same talk: a term that everyday English hardly uses counts, a common word does not.
IN_TALK = "we sang carols, then the {} was cracked, and we drove to the opera"
TERMS = [
    ("encoder belt", "drive.encoder_belt defect major"),
    ("coolant hose", "coolant.hoses defect minor"),
    ("way cover", "axes.way_covers defect major"),
    ("window", NOTHING),
    ("screen", NOTHING),
    ("door", NOTHING),
    ("key", NOTHING),
]  # fmt: skip


def foreign_in(text: str, pack: Pack) -> ForeignWords:
    """The foreign words of a text, counted as the reader counts them."""
    lexicon = lexicon_of(pack)
    words = words_of(transcript_of_text(text))
    return foreign_words(words, views_of(words, lexicon, None)[0][0].covered, lexicon)


@pytest.mark.parametrize("text", PROSE.values(), ids=PROSE)
def test_prose_gives_nothing(text: str) -> None:
    assert_follows(text, NOTHING, shipped())


@pytest.mark.parametrize("text", PROSE.values(), ids=PROSE)
def test_prose_as_a_recogniser_writes_it_gives_nothing(text: str) -> None:
    assert_follows(" ".join(re.findall(r"[a-z']+", text.lower())), NOTHING, shipped())


@pytest.mark.parametrize(("say", "expected"), REMARKS)
@pytest.mark.parametrize("text", PROSE.values(), ids=PROSE)
def test_remarks_amid_prose_give_just_what_they_say(text: str, say: str, expected: str) -> None:
    assert_follows(f"{text} {say} {text}", expected, shipped())


@pytest.mark.parametrize(("term", "expected"), TERMS)
def test_a_term_of_the_trade_passes_where_a_common_word_does_not(term: str, expected: str) -> None:
    assert_follows(IN_TALK.format(term), expected, shipped())


@pytest.mark.parametrize(
    ("term", "expected"),
    [("window", "enclosure.door_window defect major"), ("door", "enclosure.door_travel defect")],
)
def test_a_common_word_passes_where_nothing_else_is_talked_of(term: str, expected: str) -> None:
    assert_follows(f"and then the {term} was cracked", expected, shipped())


@pytest.mark.parametrize(
    ("say", "foreign"),
    [
        ("the spindle growls at two thousand", 0),  # a term, its judgement, grammar and a number
        ("erm, the way covers are bent", 0),  # a filler
        ("the kettle whistles", 1),
        ("serial a b c one two", 0),  # letters spelled out
        ("the lawyer praised the poet", 3),
    ],
)
def test_words_that_the_pack_does_not_know_are_counted(say: str, foreign: int) -> None:
    before = foreign_in(say, shipped()).before
    assert before[0] == 0
    assert before[-1] == foreign
    assert all(0 <= after - ahead <= 1 for ahead, after in pairwise(before))


def test_a_word_is_foreign_to_the_pack_that_lacks_it(small: Pack) -> None:
    assert foreign_in("the turret clunks", shipped()).before[-1] == 0
    assert foreign_in("the turret clunks", small).before[-1] == 2


@pytest.fixture
def small(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    return voicenotes.load_pack(write_pack(tmp_path_factory.mktemp("small")))


def talk(*foreign_places: int, words: int) -> ForeignWords:
    """Talk of some words, those at the places given foreign."""
    return ForeignWords(tuple(sum(place < at for place in foreign_places) for at in range(words + 1)))


def test_share_is_counted_from_the_words_around() -> None:
    reach = relevance().window_words
    far = talk(0, 1, 2, words=3 + reach + 4)
    assert far.share(3 + reach, 3 + reach + 4) == 0.0  # the three are just beyond reach
    near = talk(0, 1, 2, words=3 + reach + 3)
    assert near.share(2 + reach, 2 + reach + 4) == pytest.approx(1 / (reach + 4))


def test_one_odd_word_in_a_short_remark_is_no_other_subject() -> None:
    assert talk(0, words=4).share(0, 4) == 0.0
    assert talk(0, 1, words=4).share(0, 4) == 0.5
    long = relevance().window_words + 1
    assert talk(0, words=long).share(0, long) == pytest.approx(1 / long)


def test_plainer_words_of_the_trade_stand_more_foreign_talk() -> None:
    rules = relevance()
    assert rules.plain.judged > rules.weak.judged > rules.unnamed.judged > 0
    assert rules.plain.judged > rules.plain.named  # a judgement tells more than a name
    assert rules.weak.named == -1


def test_common_words_are_the_first_of_the_list_by_frequency() -> None:
    assert len(common_words()) == relevance().common_rank
    assert set(everyday_words()[:10]) <= common_words()
    assert {"door", "window", "key"} <= common_words()
    assert not {"spindle", "turret", "tailstock"} & common_words()


@pytest.mark.parametrize("share", [-0.1, 1.1])
def test_limits_outside_a_share_are_refused(share: float) -> None:
    with pytest.raises(ValueError, match="judged"):
        Limits(judged=share, named=0)


def test_the_window_holds_words() -> None:
    limits = Limits(judged=0.2, named=0.1)
    with pytest.raises(ValueError, match="window_words"):
        Relevance(window_words=0, common_rank=10, plain=limits, weak=limits, unnamed=limits)
