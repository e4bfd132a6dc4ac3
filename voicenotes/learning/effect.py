"""What an addition to a pack would change: past visits and the pack's labelled sentences, read again.

Only what the addition can touch is read again (`language/lexicon_reach.py`); nothing is transcribed, so what
an engine would hear otherwise is not seen here.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.corrections.apply import reviewed
from voicenotes.findings.labelled_cases import read_case, sentence_case
from voicenotes.findings.read import read_transcripts
from voicenotes.language.lexicon_reach import difference_of, text_index, touched
from voicenotes.learning.additions import with_suggestions
from voicenotes.outputs.suggestion_values import Effect, OutcomeChange, SentenceChange
from voicenotes.vocabulary.load import load_sentences
from voicenotes.vocabulary.overlay import with_overlay

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.corrections.reviewed_values import Reviewed
    from voicenotes.findings.labelled_cases import Case, CaseResult
    from voicenotes.language.lexicon_reach import TextIndex
    from voicenotes.learning.past import PastVisit
    from voicenotes.model import CheckFinding, Record, Transcript
    from voicenotes.outputs.suggestion_values import Occasion, Suggestion
    from voicenotes.vocabulary.overlay import Overlay
    from voicenotes.vocabulary.schema import Pack


# What decides how an engine hears, beside what decides how words are read.
HEARD_WITH = ("term", "sounds")


@dataclass(frozen=True)
class Ground:
    """How all is read now: what effects are measured against.

    `shipped` is the pack without additions, `overlay` what the user added up to now, `pack` the two together;
    `records` are the visits as they are read with it, `reviews` as they stand after their corrections.
    """

    shipped: Pack
    overlay: Overlay
    pack: Pack
    visits: tuple[PastVisit, ...]
    records: tuple[Record, ...]
    reviews: tuple[Reviewed, ...]
    cases: tuple[Case, ...]
    results: tuple[CaseResult, ...]
    index: TextIndex


def ground_of(shipped: Pack, overlay: Overlay, visits: Sequence[PastVisit]) -> Ground:
    """Read everything as it stands: visits of this pack that can be read again, labelled sentences."""
    pack = with_overlay(shipped, overlay)
    mine = tuple(v for v in visits if v.record.pack.id == pack.id and v.problem is None)
    said = load_sentences(Path(pack.home)) if pack.home else []
    cases = tuple(sentence_case(f"{file}.yaml, line {line}", one) for file, line, one in said)
    texts = [_transcripts(visit.recordings) for visit in mine]
    texts += [_transcripts(case.recordings) for case in cases]
    return Ground(
        shipped=shipped,
        overlay=overlay,
        pack=pack,
        visits=mine,
        records=tuple(read_transcripts(visit.recordings, pack) for visit in mine),
        reviews=tuple(reviewed(visit.record, visit.corrections, pack) for visit in mine),
        cases=cases,
        results=tuple(read_case(case, pack) for case in cases),
        index=text_index(texts, pack),
    )


def effect_of(ground: Ground, suggestions: Sequence[Suggestion], everything: bool = False) -> Effect:
    """What some suggestions together would change; with `everything`, all is read again to find that out."""
    pack = with_overlay(ground.shipped, with_suggestions(ground.overlay, suggestions))
    first = len(ground.visits)
    numbers = set(range(first + len(ground.cases)))
    if not everything:
        numbers = touched(ground.index, difference_of(ground.pack, pack, ground.index.by_word))
    records = {n: read_transcripts(v.recordings, pack) for n, v in enumerate(ground.visits) if n in numbers}
    results = {n: read_case(case, pack) for n, case in enumerate(ground.cases) if first + n in numbers}
    were = {n: ground.results[n].comparison.right for n in results}
    occasions = [occasion for suggestion in suggestions for occasion in suggestion.occasions]
    told = [_is_understood(ground, records, occasion) for occasion in occasions]
    return Effect(
        visits=first,
        changes=tuple(change for n, record in records.items() for change in _changes(ground, n, record)),
        sentences=len(ground.cases),
        regressions=tuple(_misread(r) for n, r in results.items() if were[n] and not r.comparison.right),
        gains=sum(r.comparison.right and not were[n] for n, r in results.items()),
        understood=sum(one is True for one in told),
        remarks=sum(one is not None for one in told),
        heard_again=any(suggestion.kind in HEARD_WITH for suggestion in suggestions),
    )


def with_effects(ground: Ground, suggestions: Sequence[Suggestion]) -> list[Suggestion]:
    """Each suggestion with what it alone would change."""
    return [one.model_copy(update={"effect": effect_of(ground, [one])}) for one in suggestions]


def _transcripts(recordings: Sequence[tuple[object, Transcript | None]]) -> list[Transcript]:
    return [transcript for _, transcript in recordings if transcript is not None]


def _changes(ground: Ground, number: int, record: Record) -> Iterator[OutcomeChange]:
    """The checks of one visit that come out otherwise."""
    visit, review = ground.visits[number], ground.reviews[number]
    after = {finding.id: finding for finding in record.checks}
    now = {finding.id: finding.outcome for finding in review.record.checks}
    for was in ground.records[number].checks:
        then = after[was.id]
        if was.outcome != then.outcome:
            yield OutcomeChange(
                visit=str(visit.folder), check=was.id, title=was.title, before=was.outcome,
                after=then.outcome, reviewed=now.get(was.id) if was.id in review.findings else None,
                quote=_new_quote(was, then),
            )  # fmt: skip


def _new_quote(was: CheckFinding, then: CheckFinding) -> str:
    """What one of two readings of a check rests on and the other doesn't."""
    before, after = [e.quote for e in was.evidence], [e.quote for e in then.evidence]
    unlike = [q for q in after if q not in before] or [q for q in before if q not in after]
    return next(iter((*unlike, *after, *before)), "")


def _is_understood(ground: Ground, records: dict[int, Record], occasion: Occasion) -> bool | None:
    """Whether a corrected remark would be read by itself as it stands corrected; None where that can't be
    told, as the visit can't be read again or no check has the remark."""
    for number, visit in enumerate(ground.visits):
        if str(visit.folder) == occasion.visit:
            wanted = _said_at(ground.reviews[number].record, occasion)
            found = _said_at(records.get(number, ground.records[number]), occasion)
            return wanted <= found if wanted else None
    return None


def _said_at(record: Record, occasion: Occasion) -> set[tuple[str, str]]:
    """What is said of which check while a remark lasts."""
    return {
        (finding.id, evidence.polarity)
        for finding in record.checks
        for evidence in finding.evidence
        if evidence.recording == occasion.recording
        and min(evidence.end, occasion.end) > max(evidence.start, occasion.start)
    }


def _misread(result: CaseResult) -> SentenceChange:
    """A labelled sentence that comes out wrong: the first thing of it that does."""
    said = " / ".join(getattr(result.case.label, "texts", ()))
    for check in result.comparison.checks:
        if not check.right:
            return SentenceChange(
                place=result.case.place, say=said, check=check.check, labelled=_worded(check.labelled),
                read=_worded(check.read),
            )  # fmt: skip
    value = next(value for value in result.comparison.values if not value.right)
    return SentenceChange(
        place=result.case.place, say=said, check=value.subject, labelled=value.labelled, read=value.read
    )


def _worded(outcome: str) -> str:
    return outcome.replace("_", " ")
