"""The choice of hotwords: whole terms, in order, within the limits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicenotes.speech.bias import MAX_TERMS, MAX_TOKENS, choose_hotwords


def count_words(text: str) -> int:
    return len(text.replace(",", " , ").split())


@pytest.mark.parametrize(
    ("terms", "max_tokens", "chosen"),
    [
        ((), 10, ""),
        (("gib strip", "drawbar"), 10, "gib strip, drawbar"),
        (("drawbar", "gib strip"), 10, "drawbar, gib strip"),  # order is the caller's
        (("z way cover", "way cover", "wiper"), 10, "z way cover, wiper"),  # already said
        (("way cover", "z way cover"), 10, "way cover, z way cover"),  # the longer one adds a word
        (("gib", "gibbous moon"), 10, "gib, gibbous moon"),  # parts of words don't count
        (("Gib", "gib", " gib "), 10, "Gib"),
        (("  ball \n screw ", ""), 10, "ball screw"),
        (("gib", "a very long phrase", "wiper"), 4, "gib, wiper"),  # left out whole, room goes to the next
        (("one two three",), 2, ""),
        (("one two",), 2, "one two"),
    ],
)
def test_choice(terms: tuple[str, ...], max_tokens: int, chosen: str) -> None:
    assert choose_hotwords(terms, count_words, max_tokens=max_tokens) == chosen


def test_no_more_terms_than_the_limit() -> None:
    terms = [f"term{i:03}" for i in range(500)]
    assert choose_hotwords(terms, lambda text: 1).split(", ") == terms[:MAX_TERMS]


def test_the_limit_stays_below_where_faster_whisper_cuts() -> None:
    # faster_whisper/transcribe.py, get_prompt: hotwords of 448 // 2 tokens or more are cut.
    assert MAX_TOKENS < 448 // 2


@given(
    terms=st.lists(st.text(alphabet="abc ", max_size=12), max_size=30),
    max_tokens=st.integers(0, 25),
    max_terms=st.integers(0, 8),
)
def test_whole_terms_within_both_limits(terms: list[str], max_tokens: int, max_terms: int) -> None:
    text = choose_hotwords(terms, len, max_tokens=max_tokens, max_terms=max_terms)
    chosen = text.split(", ") if text else []
    given_terms = [" ".join(term.split()) for term in terms]
    assert len(chosen) <= max_terms
    assert not text or len(" " + text) <= max_tokens
    places = [given_terms.index(term) for term in chosen]
    assert places == sorted(places)
    assert len(set(chosen)) == len(chosen)
