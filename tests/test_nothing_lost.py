"""Nothing said is ever lost, and each reason names words of its quote."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicenotes.findings.read import read_text
from voicenotes.model import Record
from voicenotes.vocabulary.load import load_pack, load_sentences

PACK = load_pack("cnc_lathe")
SAYINGS = [text for _, _, sentence in load_sentences("cnc_lathe") for text in sentence.texts]


def quotes_of(record: Record) -> set[tuple[float, str]]:
    evidence = [e for check in record.checks for e in check.evidence]
    evidence += [e for fitting in record.fittings.values() for e in fitting.evidence]
    evidence += [e for fact in record.facts.values() for e in fact.evidence]
    return {(e.start, e.quote) for e in evidence} | {(u.start, u.quote) for u in record.untagged}


def spoken_words(text: str) -> list[str]:
    return [word for word in text.split() if any(letter.isalnum() for letter in word)]


def assert_all_kept(text: str) -> None:
    kept = " ".join(quote for _, quote in sorted(quotes_of(read_text(text, PACK))))
    assert spoken_words(kept) == spoken_words(text)


@given(st.lists(st.sampled_from(SAYINGS), min_size=1, max_size=6), st.booleans())
@settings(max_examples=60, deadline=None)
def test_pack_sentences_in_any_order_are_kept_word_for_word(sayings: list[str], raw: bool) -> None:
    text = " ".join(sayings)
    assert_all_kept(re.sub(r"[.,;:!?]+(?=\s|$)", "", text.lower()) if raw else text)


@given(st.text(max_size=200))
@settings(max_examples=150, deadline=None)
def test_any_text_is_read_and_kept(text: str) -> None:
    assert_all_kept(text)


@pytest.mark.parametrize("saying", SAYINGS[::9])
def test_reasons_name_words_of_the_quote(saying: str) -> None:
    for check in read_text(saying, PACK).checks:
        for evidence in check.evidence:
            named = re.findall(r'"(.+?)"', evidence.why)
            assert evidence.why
            if "carried over" not in evidence.why:
                assert any(words.lower() in evidence.quote.lower() for words in named), evidence
