"""Counts how well labelled talk is read: each check of each entry is a case, and each labelled value."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from voicenotes.findings.labelled_cases import read_case, sentence_case
from voicenotes.findings.misreadings import misreadings_of, rank_of_pair
from voicenotes.findings.score_values import (
    FalseSettlements,
    KindScore,
    Loss,
    MentionScore,
    OutcomeScore,
    Pair,
    SetScore,
    SeverityScore,
    ValueScore,
)
from voicenotes.findings.shares import f1_of, share_of
from voicenotes.vocabulary.labels import OUTCOMES

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.findings.compare import CheckResult
    from voicenotes.findings.labelled_cases import Case, CaseResult
    from voicenotes.findings.shares import Share
    from voicenotes.model import Outcome
    from voicenotes.vocabulary.labels import LabelledSentence
    from voicenotes.vocabulary.schema import Pack

FALSE_SETTLEMENTS = "false settlements, of open checks"
MENTIONED: tuple[Outcome, ...] = ("ok", "defect", "unsure", "not_tested")


def score_sentences(sentences: Sequence[LabelledSentence], pack: Pack, raw: bool = False) -> SetScore:
    """Read labelled sentences and count; `raw` takes their punctuation and capitals away first.

    Raises KeyError for a check, fitting or fact that the pack lacks; `vocabulary/lint.py` finds those.
    """
    cases = [sentence_case(f"entry {number}", sentence) for number, sentence in enumerate(sentences, 1)]
    return score_cases(cases, pack, raw)


def score_cases(cases: Sequence[Case], pack: Pack, raw: bool = False) -> SetScore:
    """Read the cases and count; `raw` and errors as for `score_sentences`."""
    return count_results([read_case(case, pack, raw) for case in cases])


def count_results(results: Sequence[CaseResult]) -> SetScore:
    """All the numbers of cases that were read and compared."""
    checks = [check for result in results for check in result.comparison.checks]
    pairs = Counter((check.labelled, check.read) for check in checks)
    mentions = _mentions(pairs)
    right = sum(pairs[outcome, outcome] for outcome in MENTIONED)
    return SetScore(
        entries=_entries(results),
        texts=sum(len(result.case.recordings) for result in results),
        words=sum(result.case.words for result in results),
        outcomes=tuple(_outcome(outcome, pairs) for outcome in OUTCOMES),
        confusion=_confusion(pairs),
        mentions=mentions,
        right_outcomes=share_of(right, mentions.right),
        false_settlements=_false_settlements(results, checks),
        severity=_severity(checks),
        fittings=_values(results, "fitting"),
        readings=_values(results, "reading"),
        facts=_values(results, "fact"),
        kinds=tuple(_kinds(results)),
        misreadings=misreadings_of(results),
    )


def _entries(results: Sequence[CaseResult]) -> Share:
    return share_of(sum(result.comparison.right for result in results), len(results))


def _outcome(outcome: Outcome, pairs: Counter[tuple[Outcome, Outcome]]) -> OutcomeScore:
    labelled = sum(count for (expected, _), count in pairs.items() if expected == outcome)
    read = sum(count for (_, found), count in pairs.items() if found == outcome)
    right = pairs[outcome, outcome]
    return OutcomeScore(
        outcome=outcome, labelled=labelled, read=read, right=right,
        precision=right / read if read else None,
        recall=right / labelled if labelled else None,
        f1=f1_of(right, labelled - right, read - right),
    )  # fmt: skip


def _confusion(pairs: Counter[tuple[Outcome, Outcome]]) -> tuple[Pair, ...]:
    def worst_first(pair: Pair) -> tuple[int, ...]:
        return rank_of_pair(pair.labelled, pair.read), -pair.count, order[pair.labelled], order[pair.read]

    order = {outcome: place for place, outcome in enumerate(OUTCOMES)}
    found = [Pair(labelled=labelled, read=read, count=count) for (labelled, read), count in pairs.items()]
    return tuple(sorted(found, key=worst_first))


def _mentions(pairs: Counter[tuple[Outcome, Outcome]]) -> MentionScore:
    counts: Counter[tuple[bool, bool]] = Counter()
    for (labelled, read), count in pairs.items():
        counts[labelled in MENTIONED, read in MENTIONED] += count
    right, missed, extra = counts[True, True], counts[True, False], counts[False, True]
    return MentionScore(
        right=right, missed=missed, extra=extra,
        precision=share_of(right, right + extra),
        recall=share_of(right, right + missed),
        f1=f1_of(right, missed, extra),
    )  # fmt: skip


def _false_settlements(results: Sequence[CaseResult], checks: Sequence[CheckResult]) -> FalseSettlements:
    false = sum(check.falsely_settled for check in checks)
    texts = sum(len(result.case.recordings) for result in results)
    words = sum(result.case.words for result in results)
    return FalseSettlements(
        of_open_checks=share_of(false, sum(check.left_open for check in checks)),
        per_100_texts=100 * false / max(1, texts),
        per_1000_words=1000 * false / max(1, words),
    )


def _severity(checks: Sequence[CheckResult]) -> SeverityScore:
    counting = [check for check in checks if check.severity_counts]
    usual = [check for check in counting if check.severity == check.severity_usual]
    other = [check for check in counting if check.severity != check.severity_usual]

    def right(some: Sequence[CheckResult]) -> Share:
        return share_of(sum(check.severity == check.severity_read for check in some), len(some))

    return SeverityScore(all=right(counting), usual=right(usual), other=right(other))


def _values(results: Sequence[CaseResult], what: str) -> ValueScore:
    values = [value for result in results for value in result.comparison.values if value.what == what]
    beyond = sum(result.comparison.beyond[what] for result in results)
    return ValueScore(labelled=share_of(sum(value.right for value in values), len(values)), beyond=beyond)


def _kinds(results: Sequence[CaseResult]) -> Iterator[KindScore]:
    kinds: dict[str, list[CaseResult]] = {}
    for result in results:
        kinds.setdefault(result.case.kind, []).append(result)
    for kind, some in sorted(kinds.items()):
        checks = [check for result in some for check in result.comparison.checks]
        pairs = Counter((check.labelled, check.read) for check in checks)
        yield KindScore(
            kind=kind, entries=_entries(some), mention_f1=_mentions(pairs).f1,
            false_settlements=sum(check.falsely_settled for check in checks),
        )  # fmt: skip


def losses(written: SetScore, raw: SetScore) -> tuple[Loss, ...]:
    """What is lost by reading without punctuation and capitals, for each number that both have."""
    before, after = _headlines(written), _headlines(raw)
    found = []
    for measure, first in before.items():
        second = after[measure]
        if first is not None and second is not None:
            worse = second - first if measure == FALSE_SETTLEMENTS else first - second
            found.append(Loss(measure=measure, written=first, raw=second, points_lost=100 * worse))
    return tuple(found)


def _headlines(score: SetScore) -> dict[str, float | None]:
    return {
        "entries wholly right": score.entries.share,
        "mentions, precision": score.mentions.precision.share,
        "mentions, recall": score.mentions.recall.share,
        "mentions, F1": score.mentions.f1,
        "right outcomes, of right mentions": score.right_outcomes.share,
        FALSE_SETTLEMENTS: score.false_settlements.of_open_checks.share,
        "severity": score.severity.all.share,
        "fittings": score.fittings.labelled.share,
        "readings": score.readings.labelled.share,
        "facts": score.facts.labelled.share,
        **{f"F1 of {outcome.outcome}": outcome.f1 for outcome in score.outcomes},
    }
