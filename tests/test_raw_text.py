"""Words as a recogniser writes them that knows no punctuation and no capitals."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicenotes.findings.read import transcript_of_text
from voicenotes.model import Transcript, Word
from voicenotes.speech.raw_text import raw_transcript, raw_words

WRITTEN = [
    ("Way covers are dented, wipers are fine.", "way covers are dented wipers are fine"),
    ("It's 2.5 thou; that's bad!", "it's 2.5 thou that's bad"),
    ("Backlash is .002.", "backlash is .002"),
    ("At 2,000 rpm, it growls", "at 2,000 rpm it growls"),
    ("Noted 12:30 - five items:", "noted 12:30 five items"),
    ("An A2-6 nose", "an a2 6 nose"),
    ("a three-jaw chuck", "a three jaw chuck"),
    ("minus: -5 degrees, \u22123.2 too", "minus -5 degrees -3.2 too"),
    ("3/4 inch and/or less", "3/4 inch and or less"),
    ("6 % or 6%, 40\u00b0C", "6 % or 6% 40\u00b0c"),
    ("The seller\u2019s \u201cnew\u201d pump", "the seller's new pump"),
    ("the jaws' (soft) grip...", "the jaws soft grip"),
    ("wait\u2026 no \u2014 it's fine", "wait no it's fine"),
    ("rev.2 vs. 1.2", "rev 2 vs 1.2"),
]


@pytest.mark.parametrize(("written", "raw"), WRITTEN)
def test_marks_and_capitals_go_and_numbers_stay(written: str, raw: str) -> None:
    assert " ".join(raw_words(written)) == raw


@given(st.text(max_size=80))
def test_doing_it_twice_changes_nothing_more(text: str) -> None:
    once = raw_words(text)
    assert raw_words(" ".join(once)) == once


def test_a_word_that_comes_apart_shares_its_time() -> None:
    said = Transcript(
        words=(
            Word(text="Three-jaw,", start=1.0, end=2.0, confidence=0.5),
            Word(text="-", start=2.0, end=2.5),
        )
    )
    assert raw_transcript(said).words == (
        Word(text="three", start=1.0, end=1.5, confidence=0.5),
        Word(text="jaw", start=1.5, end=2.0, confidence=0.5),
    )


def test_pauses_between_lines_stay() -> None:
    before, after = (f(transcript_of_text("Fine.\n\nNext.")) for f in (lambda said: said, raw_transcript))
    assert [(w.start, w.end) for w in before.words] == [(w.start, w.end) for w in after.words]
