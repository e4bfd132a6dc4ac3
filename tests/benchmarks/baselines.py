"""This reader beside two general ways of reading, on the same labelled sentences in one run.

    python tests/benchmarks/baselines.py [SET ...] [--pack NAME] [--termset en] [--json]

A SET is a YAML file or a folder of labelled sentences; each is counted by itself. Without any these are the
pack's own sentences and, where it is there, each file and folder of tests/evaluation/. The methods:

  keywords         a check is taken where one of its terms stands in the sentence, or a term of one of its
                   parts, if only one check has that part or the part has a `default`. It is a defect where
                   a phrase of any bad or unwanted list stands in the same sentence, else ok where a phrase
                   of any good or wanted list does, else nothing. Negation is not looked at.
  negspacy         the same; a judgement is turned round where negspacy says that its phrase is negated.
                   negspacy (PyPI) is NegEx (Chapman et al. 2001) for spaCy, here with its own termset
                   (`--termset`: en or en_clinical) on spacy.blank("en") with a sentencizer. A negation
                   of it reaches to the end of the sentence or to a terminating word.
  ..., own lists   the same two, with only those phrases that the pack gives the check: its own lists,
                   those of its aspects, and the general ones
  this reader      voicenotes, as `voicenotes score` reads

The baselines know the pack's phrases with their plurals, verb forms and joined spellings; of overlapping
ones the longest counts. They don't know measured values, absent fittings, plans, hearsay or mishearings.
The pack's own sentences were at hand while the pack was written: they flatter this reader.

Columns: `right` is the share of right outcomes among the right mentions; `false/100` are false settlements
per 100 sentences. Needs `pip install -e '.[benchmarks]'`.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import spacy
from spacy.tokens import Doc, Span
from spacy.util import filter_spans

import voicenotes
from voicenotes.findings.gaps import gaps_of
from voicenotes.findings.labelled_cases import Case, CaseResult, read_case, sentence_case
from voicenotes.findings.score import count_results
from voicenotes.findings.score_values import SetScore
from voicenotes.model import Outcome, Record
from voicenotes.vocabulary.expand import expand, is_fixed, joined_forms, plural_forms, verb_forms
from voicenotes.vocabulary.labels import LabelledSentence
from voicenotes.vocabulary.lint import checked_file
from voicenotes.vocabulary.schema import GENERAL, ConditionLists, Fitting, Pack, Part

EVALUATION = Path(__file__).parent.parent / "evaluation"
KINDS = ("negation", "pseudo")
SPANS = "judging"
TokenText = tuple[str, ...]
_NLP = spacy.blank("en")
_NLP.add_pipe("sentencizer")


@cache
def _tokens_of_word(word: str) -> TokenText:
    return tuple(token.lower_ for token in _NLP.tokenizer(word))


def tokens_of(words: TokenText) -> TokenText:
    """Words as spaCy's tokenizer takes them apart, lower case."""
    return tuple(token for word in words for token in _tokens_of_word(word))


@dataclass(eq=False)
class Phrases:
    """A pack's terms with the checks they name, and its judging phrases with what they are signs of."""

    terms: dict[TokenText, set[str]] = field(default_factory=dict)
    judging: dict[TokenText, set[tuple[str, bool]]] = field(default_factory=dict)
    lists_of: dict[str, frozenset[str]] = field(default_factory=dict)
    most_tokens: int = 1

    def add_term(self, template: str, checks: Iterable[str]) -> None:
        """A term in all its forms; one that names no single check takes its place all the same."""
        for phrase in expand(template):
            words = tuple(phrase.split())
            forms = [words]
            if not is_fixed(template):
                forms += joined_forms(words)
                forms += [(*form[:-1], last) for form in forms[:] for last in plural_forms(form[-1])]
            for form in forms:
                self._add(self.terms, form, checks)

    def add_lists(self, owner: str, lists: ConditionLists) -> None:
        """The judging phrases of a check or an aspect in all their forms."""
        for name in ("good", "wanted", "bad", "unwanted"):
            for condition in getattr(lists, name):
                for phrase in expand(condition.say):
                    words = tuple(phrase.split())
                    forms = [words]
                    if not is_fixed(condition.say) and name in ("good", "bad"):
                        forms += [(first, *words[1:]) for first in verb_forms(words[0])]
                    elif not is_fixed(condition.say):
                        forms += [(*words[:-1], last) for last in plural_forms(words[-1])]
                    for form in forms:
                        self._add(self.judging, form, [(owner, name in ("good", "wanted"))])

    def _add(self, table: dict[TokenText, set[Any]], words: TokenText, meanings: Iterable[object]) -> None:
        tokens = tokens_of(words)
        table.setdefault(tokens, set()).update(meanings)
        self.most_tokens = max(self.most_tokens, len(tokens))


def phrases_of(pack: Pack) -> Phrases:
    """All phrases of the pack for keyword matching."""
    phrases = Phrases()
    for check in pack.checks:
        phrases.lists_of[check.id] = frozenset({check.id, GENERAL, *check.aspects})
        phrases.add_lists(check.id, check)
        for term in check.terms:
            phrases.add_term(term, [check.id])
    for aspect in pack.aspects:
        phrases.add_lists(aspect.id, aspect)
    named: list[Part | Fitting] = [*pack.parts, *pack.head.fittings]
    for part in named:
        checks = [check.id for check in pack.checks if part.id in check.parts]
        single = checks if len(checks) == 1 else [part.default] if part.default else []
        for term in part.terms:
            phrases.add_term(term, single)
    return phrases


@dataclass(frozen=True)
class Baseline:
    """One way of reading by keywords: `negex` marks negated spans; `own_lists` as the module says."""

    phrases: Phrases
    negex: Callable[[Doc], Doc] | None = None
    own_lists: bool = False

    def read(self, texts: Iterable[str]) -> dict[str, Outcome]:
        """The checks that are taken in the texts, each with its outcome; a defect outweighs."""
        found: dict[str, Outcome] = {}
        for text in texts:
            doc = _NLP(text.replace("-", " ").replace("\u2019", "'"))
            doc.spans[SPANS] = _found_in(doc, self.phrases.judging, self.phrases.most_tokens)
            if self.negex is not None:
                doc = self.negex(doc)
            for sentence in doc.sents:
                for check, outcome in self._read_sentence(doc, sentence):
                    if found.get(check) != "defect":
                        found[check] = outcome
        return found

    def _read_sentence(self, doc: Doc, sentence: Span) -> Iterator[tuple[str, Outcome]]:
        terms = _found_in(sentence, self.phrases.terms, self.phrases.most_tokens)
        judging = [span for span in doc.spans[SPANS] if sentence.start <= span.start < sentence.end]
        for check in {check for term in filter_spans(terms) for check in self.phrases.terms[_text(term)]}:
            if signs := [good != _is_negated(span) for span, good in self._that_judge(check, judging)]:
                yield check, "ok" if all(signs) else "defect"

    def _that_judge(self, check: str, spans: list[Span]) -> Iterator[tuple[Span, bool]]:
        """Each longest phrase that may judge the check, with each sign that it is: good or not."""
        signs = {}
        for span in spans:
            owned = self.phrases.judging[_text(span)]
            lists = self.phrases.lists_of[check] if self.own_lists else {owner for owner, _ in owned}
            signs[span] = {good for owner, good in owned if owner in lists}
        for span in filter_spans([span for span, fitting in signs.items() if fitting]):
            yield from ((span, good) for good in signs[span])


def _text(span: Span) -> TokenText:
    return tuple(token.lower_ for token in span)


def _is_negated(span: Span) -> bool:
    return bool(span.has_extension("negex") and span._.negex)


def _found_in(words: Doc | Span, table: Mapping[TokenText, object], most_tokens: int) -> list[Span]:
    """Every stretch of the words that stands in the table."""
    texts = [token.lower_ for token in words]
    return [
        words[start:end]
        for start in range(len(texts))
        for end in range(start + 1, min(start + most_tokens, len(texts)) + 1)
        if tuple(texts[start:end]) in table
    ]


def negspacy_with(termset_name: str) -> Callable[[Doc], Doc]:
    """negspacy's component with one of its own termsets, marking the judging phrases."""
    try:
        from negspacy.negation import Negex
        from negspacy.termsets import termset
    except ImportError:
        sys.exit("negspacy is not installed: pip install -e '.[benchmarks]'")
    triggers: dict[str, list[str]] = termset(termset_name).get_patterns()  # type: ignore[no-untyped-call]
    return Negex(_NLP, "negex", neg_termset=triggers, span_keys=[SPANS])


def baselines_of(pack: Pack, termset_name: str) -> dict[str, Baseline]:
    """The baselines by name."""
    keywords = Baseline(phrases_of(pack))
    negated = replace(keywords, negex=negspacy_with(termset_name))
    return {
        "keywords": keywords,
        "negspacy": negated,
        "keywords, own lists": replace(keywords, own_lists=True),
        "negspacy, own lists": replace(negated, own_lists=True),
    }


def record_of(outcomes: Mapping[str, Outcome], empty: Record) -> Record:
    """A record with these outcomes and nothing else, so that the scorer can compare it."""
    checks = tuple(
        check.model_copy(update={"outcome": outcomes.get(check.id, check.outcome)}) for check in empty.checks
    )
    return empty.model_copy(update={"checks": checks, "gaps": gaps_of(checks)})


def results_of(
    cases: list[Case], pack: Pack, baselines: Mapping[str, Baseline]
) -> dict[str, list[CaseResult]]:
    """The cases as each method reads them, compared with their labels by the scorer."""
    empty = voicenotes.read_text("", pack)
    found = {}
    for name, baseline in baselines.items():
        read = [
            replace(case, record=record_of(baseline.read(case.label.texts), empty))
            for case in cases
            if isinstance(case.label, LabelledSentence)
        ]
        found[name] = [read_case(case, pack) for case in read]
    found["this reader"] = [read_case(case, pack) for case in cases]
    return found


def cases_of(path: Path, pack: Pack) -> list[Case]:
    """The labelled sentences of a file, or of all files in a folder; labelled visits are left out."""
    files = sorted(path.rglob("*.yaml")) if path.is_dir() else [path]
    return [
        sentence_case(f"{file}, line {line}", sentence)
        for file in files
        if file.name != "expected.yaml"
        for line, sentence in checked_file(file, pack)
    ]


def usual_sets(pack: Pack) -> list[Path]:
    """The pack's own sentences, then what stands in tests/evaluation."""
    more = sorted(path for path in EVALUATION.glob("*") if path.is_dir() or path.suffix == ".yaml")
    return [Path(pack.home) / "sentences", *more]


def scores_of(results: Mapping[str, list[CaseResult]]) -> Iterator[tuple[str, str, SetScore]]:
    """Kind of sentence, method and score: first of all sentences, then of the kinds told apart."""
    for kind in ("all", *KINDS):
        for name, some in results.items():
            chosen = [result for result in some if kind in ("all", result.case.kind)]
            if chosen:
                yield kind, name, count_results(chosen)


def line_of(name: str, score: SetScore) -> str:
    """One line of the table; shares in percent."""
    mentions = score.mentions
    shares = (mentions.precision.share, mentions.recall.share, mentions.f1, score.right_outcomes.share)
    cells = "".join(f"{'-' if share is None else f'{100 * share:.1f}':>7}" for share in shares)
    return f"  {name:<21}{cells}{score.false_settlements.per_100_texts:>11.1f}"


def main(arguments: list[str] | None = None) -> None:
    """Read every set with every method and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("sets", nargs="*", type=Path, metavar="SET", help="file or folder of sentences")
    parser.add_argument("--pack", default="cnc_lathe", help="a shipped pack's name, or a folder")
    parser.add_argument("--termset", default="en", choices=("en", "en_clinical"), help="negspacy's termset")
    parser.add_argument("--json", action="store_true", help="print the scores as JSON, with intervals")
    options = parser.parse_args(arguments)
    pack = voicenotes.load_pack(options.pack)
    baselines = baselines_of(pack, options.termset)
    rows = []
    for path in options.sets or usual_sets(pack):
        heading = ""
        for kind, name, score in scores_of(results_of(cases_of(path, pack), pack, baselines)):
            parts = score.model_dump(include={"texts", "mentions", "right_outcomes", "false_settlements"})
            rows.append({"set": str(path), "kind": kind, "method": name, **parts})
            if options.json:
                continue
            if heading != kind:
                heading = kind
                print(f"{path}, {kind}: {score.entries.of} entries")
                print(f"  {'percent':<21}{'P':>7}{'R':>7}{'F1':>7}{'right':>7}{'false/100':>11}")
            print(line_of(name, score), flush=True)
    if options.json:
        print(json.dumps({"pack": pack.id, "termset": options.termset, "rows": rows}, indent=2))


if __name__ == "__main__":
    main()
