"""What the speech benchmark counts: words, trade terms and checks, against what was said.

WER        word errors over words said (jiwer), both spelt one way
TER        trade terms only: terms said that weren't heard in order, and terms heard that weren't said, over
           terms said; a term is a phrase of the pack's checks, parts, fittings and stations, the longest
           one at each place
F1         of checks mentioned, against the labels, as `voicenotes score` counts it
agreement  checks that come out the same from the audio and from the text, of those mentioned in either
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import pairwise

import jiwer

from voicenotes.findings.compare import compare
from voicenotes.findings.labelled_cases import CaseResult, sentence_case
from voicenotes.findings.read import read_text
from voicenotes.findings.score import count_results
from voicenotes.model import Record, Transcript
from voicenotes.vocabulary.expand import morphology, plain_phrases
from voicenotes.vocabulary.labels import LabelledSentence
from voicenotes.vocabulary.schema import Pack

Term = tuple[str, ...]


@dataclass(frozen=True)
class Heard:
    """One labelled sentence and what was made of it when it was spoken."""

    label: LabelledSentence
    transcript: Transcript


@dataclass(frozen=True)
class Measures:
    """Shares from 0 to 1; None where there was nothing to count."""

    words: int
    wer: float
    terms: int
    ter: float | None
    f1: float | None
    f1_of_text: float | None
    agreement: float | None


def normalised(text: str) -> list[str]:
    """Lower-case words without punctuation, spelt as recognisers are taught."""
    prefer = morphology().spelling
    words = re.sub(r"[^a-z0-9' ]", " ", text.lower()).split()
    return [part for word in words for part in prefer.get(word.strip("'"), word.strip("'")).split()]


def one_spelling(said: list[list[str]], heard: list[list[str]]) -> tuple[list[str], list[str]]:
    """Lines of words as texts; a word that also stands apart ("draw tube") is written apart in both."""
    lines = [*said, *heard]
    words = {word for line in lines for word in line}
    pairs = {pair for line in lines for pair in pairwise(line)}
    apart = {a + b: f"{a} {b}" for a, b in pairs if a + b in words and min(len(a), len(b)) > 2}
    texts = [" ".join(apart.get(word, word) for word in line) for line in lines]
    return texts[: len(said)], texts[len(said) :]


def terms_of(pack: Pack) -> frozenset[Term]:
    """The pack's phrases for things, as words."""
    entries = (*pack.checks, *pack.parts, *pack.head.fittings, *pack.head.stations)
    phrases = (phrase for entry in entries for phrase in plain_phrases(entry.terms))
    return frozenset(term for phrase in phrases if (term := tuple(normalised(phrase))))


def terms_in(words: Sequence[str], terms: frozenset[Term]) -> list[Term]:
    """The terms in the words from left to right, the longest at each place."""
    longest = max(map(len, terms), default=0)
    found, at = [], 0
    while at < len(words):
        here = (tuple(words[at : at + size]) for size in range(longest, 0, -1))
        term = next((term for term in here if term in terms), None)
        if term:
            found.append(term)
        at += len(term or "x")
    return found


def term_errors(said: Sequence[Term], heard: Sequence[Term]) -> int:
    """Terms missing and terms invented."""
    matched = sum(
        block.size for block in SequenceMatcher(None, said, heard, autojunk=False).get_matching_blocks()
    )
    return len(said) + len(heard) - 2 * matched


def measure(results: Sequence[Heard], fresh: Sequence[bool], pack: Pack) -> Measures:
    """All measures; words and terms only of the sentences that are `fresh` to the language model."""
    counted = [one for one, is_fresh in zip(results, fresh, strict=True) if is_fresh]
    said, heard = one_spelling(
        [normalised(one.label.say) for one in counted], [normalised(one.transcript.text) for one in counted]
    )
    terms = terms_of(pack)
    pairs = [
        (terms_in(a.split(), terms), terms_in(b.split(), terms)) for a, b in zip(said, heard, strict=True)
    ]
    spoken_terms = sum(len(a) for a, _ in pairs)
    wrong_terms = sum(term_errors(a, b) for a, b in pairs)
    by_ear = [read_text(one.transcript, pack) for one in results]
    by_text = [read_text(one.label.say, pack) for one in results]
    labels = [one.label for one in results]
    return Measures(
        words=sum(len(line.split()) for line in said),
        wer=jiwer.wer(said, heard) if said else 0.0,
        terms=spoken_terms,
        ter=wrong_terms / spoken_terms if spoken_terms else None,
        f1=_f1(labels, by_ear, pack),
        f1_of_text=_f1(labels, by_text, pack),
        agreement=_agreement(by_ear, by_text),
    )


def _f1(labels: Sequence[LabelledSentence], records: Sequence[Record], pack: Pack) -> float | None:
    compared = [
        CaseResult(sentence_case("", label), compare(label, record, pack))
        for label, record in zip(labels, records, strict=True)
    ]
    return count_results(compared).mentions.f1


def _agreement(by_ear: Sequence[Record], by_text: Sequence[Record]) -> float | None:
    same = either = 0
    for ear, text in zip(by_ear, by_text, strict=True):
        for heard, read in zip(ear.checks, text.checks, strict=True):
            if {heard.outcome, read.outcome} != {"not_mentioned"}:
                either += 1
                same += heard.outcome == read.outcome
    return same / either if either else None
