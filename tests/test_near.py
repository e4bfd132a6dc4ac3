"""Which terms are guessed where the recogniser wrote something else, and what is left alone, in tables."""

from __future__ import annotations

from functools import lru_cache

import pytest

import voicenotes
from voicenotes.findings.read import transcript_of_text
from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.everyday import RARE, UNHEARD_OF, surprise
from voicenotes.language.hits import Hits
from voicenotes.language.lexicon import Lexicon
from voicenotes.language.near import heard_hits
from voicenotes.language.phrase_search import find_hits
from voicenotes.language.quantities import detect_metric, find_quantities
from voicenotes.language.sound_index import sound_index, sounds_like
from voicenotes.language.words import words_of
from voicenotes.vocabulary.schema import Pack

DICTATION = "The spindle is quiet and the chuck holds. The turret indexes and the tailstock is aligned. "
SMALL_TALK = (
    "We drove down to the coast on Saturday with my sister and her kids and it rained all day. "
    "They wanted ice cream and later they wanted their beds, so we ate at a pub by the harbour. "
)


@lru_cache
def pack() -> Pack:
    return voicenotes.load_pack("cnc_lathe")


@lru_cache
def without_lists() -> Lexicon:
    """The pack compiled without its lists of mis-hearings, so that only sound and spelling can tell."""
    whole = pack()
    bare = {"misheard": ()}
    fittings = tuple(fitting.model_copy(update=bare) for fitting in whole.head.fittings)
    return lexicon_of(
        whole.model_copy(
            update={
                "head": whole.head.model_copy(update={"fittings": fittings}),
                "checks": tuple(check.model_copy(update=bare) for check in whole.checks),
                "parts": tuple(part.model_copy(update=bare) for part in whole.parts),
                "digest": whole.digest + " without mis-hearings",
            }
        )
    )


def read(said: str, lexicon: Lexicon) -> tuple[tuple[str, ...], Hits]:
    """The words of a text and the hits that stand."""
    words = words_of(transcript_of_text(said))
    hits = find_hits(words.norms, words.breaks, lexicon)
    return words.norms, heard_hits(
        words, lexicon, hits, find_quantities(words.norms, detect_metric(words.norms))
    )


def guesses(said: str, lexicon: Lexicon) -> list[tuple[str, str]]:
    """The words and the term of each guess."""
    norms, hits = read(said, lexicon)
    return [
        (" ".join(norms[term.start : term.end]), term.phrase)
        for term in hits.terms
        if term.how in ("sound", "spelling")
    ]


@pytest.mark.parametrize(
    ("said", "words", "term"),
    [  # mis-hearings built by hand: tests/data/misheard.yaml
        ("the tales talk is cracked", "tales talk", "tailstock"),
        ("the head stuck is noisy", "head stuck", "headstock"),
        ("the enter lock is loose", "enter lock", "interlock"),
        ("the tourette is stiff", "tourette", "turret"),
        ("the sea axis is rough", "sea axis", "c axis"),
        ("the study rest is worn", "study rest", "steady rest"),
        ("the cool and is dirty", "cool and", "coolant"),
        ("the back rash is ten microns", "back rash", "backlash"),
        ("the vipers are torn", "vipers", "wiper"),
        ("the life tooling is noisy", "life tooling", "live tooling"),
        ("the spin dull noise is bad", "spin dull noise", "spindle noise"),
    ],
)
def test_word_boundaries_do_not_count(said: str, words: str, term: str) -> None:
    assert (words, term) in guesses(said, without_lists())


@pytest.mark.parametrize(
    "said",
    [
        "the weather was cool and dry",  # a judgement is no noun here
        "I'd call it good",
        "the seller knows nothing",
        "they sat in the study and had a rest",  # nothing speaks for the trade
        "a bull stood by the gate",
        "the children's tales talk of giants",
        SMALL_TALK + "The study rest was good.",  # a long stretch of talk about other things
        "the spindle is controlled",  # a form of a word of the pack
    ],
)
def test_everyday_speech_stays_as_it_is(said: str) -> None:
    assert guesses(said, without_lists()) == []


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("the turret can't index", {"can", "not"}),
        ("the runout is fifteen microns", {"fifteen", "microns"}),
        ("the runout is fifty microns", {"fifty", "microns"}),
        ("backlash is two thou", {"two", "thou"}),
        ("it is worn though it still runs", {"worn", "though"}),
        ("a new leak at the tailstock", {"new", "leak"}),
        ("no leak at the tailstock", {"no", "leak"}),
        ("spindle runs at m thirty", {"thirty"}),
        ("the draw two is bent", {"two"}),
    ],
)
@pytest.mark.parametrize("before", ["", DICTATION])
def test_numbers_units_negations_and_judgements_are_never_changed(
    said: str, kept: set[str], before: str
) -> None:
    norms, _ = read(before + said, without_lists())
    assert kept <= set(norms)
    changed = {word for words, _ in guesses(before + said, without_lists()) for word in words.split()}
    assert changed & kept == set()


@pytest.mark.parametrize(
    ("said", "believed"),
    [
        ("the drawers are worn", True),  # jaws: something is judged, a noun must stand there
        ("he keeps his socks in the drawers", False),
        ("some of it is dirty", False),
        ("the garden looks good in the evening", False),
        (SMALL_TALK + "The garden is cracked.", False),
        (DICTATION + "The garden is cracked.", True),
    ],
)
def test_a_listed_everyday_word_needs_its_surroundings(said: str, believed: bool) -> None:
    _, hits = read(said, lexicon_of(pack()))
    assert any(term.how == "misheard" for term in hits.terms) is believed


def test_a_listed_phrase_goes_before_the_words_it_is_made_of() -> None:
    _, hits = read("the weight covers are straight", lexicon_of(pack()))
    assert [(term.how, term.phrase) for term in hits.terms] == [("misheard", "weight covers")]


def test_a_guess_says_so_and_is_less_sure() -> None:
    plain = voicenotes.read_text("The steady rest is worn.", pack())
    guessed = voicenotes.read_text("The stead dee rest is worn.", pack())
    (sure,) = [e for check in plain.checks for e in check.evidence]
    (unsure,) = [e for check in guessed.checks for e in check.evidence]
    assert "a guess" in unsure.why and "a guess" not in sure.why
    assert unsure.confidence < 0.75 * sure.confidence
    absent = voicenotes.read_text("There is no stead dee rest.", pack()).fittings["steady_rest"]
    assert absent.fitted is False
    assert "a guess" in absent.evidence[0].why and absent.evidence[0].confidence < 0.7


def test_rarer_words_are_more_surprising() -> None:
    assert surprise("the") < surprise("house") < surprise("harbour") <= RARE < UNHEARD_OF
    assert surprise("qwyxle") == UNHEARD_OF


@pytest.mark.parametrize(
    ("said", "term"),
    [("bull screw", "ballscrew"), ("study rest", "steady rest"), ("orange juice", None), ("jib", None)],
)
def test_the_nearest_term_by_sound(said: str, term: str | None) -> None:
    """Short words have too few sounds to tell: "jib" is not taken for "gib"."""
    found = sounds_like(tuple(said.split()), sound_index(without_lists()))
    assert (" ".join(found.term) if found else None) == term


def test_twice_the_words_are_read_the_same() -> None:
    said = DICTATION + "The tales talk is worn. "
    assert guesses(said * 40, without_lists()) == guesses(said, without_lists()) * 40
