"""Reads a transcript: words in, remarks with their mentions out."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, TypeVar

from voicenotes.language.clause_view import ClauseView, Context
from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.facts import read_facts
from voicenotes.language.fittings import read_fittings
from voicenotes.language.judging import read_clause
from voicenotes.language.landmarks import landmarks_of
from voicenotes.language.mentions import Mention, Remark, merge
from voicenotes.language.near import heard_hits
from voicenotes.language.phrase_search import find_hits
from voicenotes.language.quantities import detect_metric, find_quantities
from voicenotes.language.remarks import clauses_of
from voicenotes.language.scope import reaches_of
from voicenotes.language.severity import stated_severity
from voicenotes.language.spans import Placed, words_of_all
from voicenotes.language.words import words_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.hits import CueHit, FactHit, PlaceHit
    from voicenotes.language.lexicon import Lexicon
    from voicenotes.language.mentions import FactMention
    from voicenotes.language.remarks import Clause
    from voicenotes.language.words import Words
    from voicenotes.model import Transcript
    from voicenotes.vocabulary.schema import Pack

PlacedT = TypeVar("PlacedT", bound=Placed)
_JUDGED = ("good", "bad", "unsure", "not_tested")
_NEIGHBOURHOOD = 3
_FORGET_AFTER_S = 20.0
_WORDS_BEFORE_DOUBT = 3


def read_transcript(
    transcript: Transcript, pack: Pack, before: Sequence[Remark] = (), context: Context | None = None
) -> tuple[list[Remark], Context]:
    """All remarks of one transcript in order, and the context for the next recording.

    `before` are the remarks of the recordings before it: a "scratch that" may reach back into them,
    and then the list returned starts with them, changed.
    """
    lexicon = lexicon_of(pack)
    words = words_of(transcript)
    context = replace(context or Context(), terms=(), checks=())
    remarks = list(before)
    if not len(words):
        return remarks, context
    views = _views(words, lexicon, pack)
    ending = 0.0
    pending: CueHit | None = None
    for view, places, fact_hits in views:
        start, end = _times(transcript, words, view)
        if start - ending > _FORGET_AFTER_S:
            context = replace(context, terms=(), checks=())
        ending = end
        if places:
            context = replace(context, station=places[-1].station, checks=())
        mentions, following = read_clause(view, context)
        heard = _heard_confidence(transcript, words, view)
        mentions = [replace(m, confidence=round(m.confidence * heard, 3)) for m in mentions]
        facts = read_facts(view, pack, fact_hits)
        settled = _noted_by_facts(view, lexicon, pack, facts, mentions)
        remark = Remark(
            quote=words.quote(view.clause.start, view.clause.end),
            start=start,
            end=end,
            mentions=tuple(merge([*mentions, *settled])),
            fittings=tuple(read_fittings(view, mentions)),
            facts=tuple(facts),
        )
        remarks, pending = _take_back(remarks, remark, view, pending)
        remarks = _class_afterwards(remarks, remark, view)
        remarks = _doubt_afterwards(remarks, view)
        remarks.append(remark)
        remarks = _reason_before(remarks, view)
        context = _without_absent(following, remark)
    return remarks, context


def _views(
    words: Words, lexicon: Lexicon, pack: Pack
) -> list[tuple[ClauseView, tuple[PlaceHit, ...], tuple[FactHit, ...]]]:
    hits = find_hits(words.norms, words.breaks, lexicon)
    quantities = find_quantities(words.norms, detect_metric(words.norms))
    hits = heard_hits(words, lexicon, hits, quantities)
    marks = landmarks_of(hits, quantities)
    clauses = clauses_of(words, marks)
    reaches = reaches_of(clauses, hits.cues, words)
    covered = frozenset(words_of_all(hits.terms, hits.conditions, hits.cues, hits.facts, quantities))
    dealt = zip(
        clauses, reaches, _dealt(hits.terms, clauses), _dealt(hits.conditions, clauses),
        _dealt(quantities, clauses), _dealt(hits.places, clauses), _dealt(hits.facts, clauses), strict=True,
    )  # fmt: skip
    return [
        (ClauseView(words, marks, clause, terms, conditions, values, reach, covered, lexicon), places, facts)
        for clause, reach, terms, conditions, values, places, facts in dealt
    ]


def _dealt(things: Sequence[PlacedT], clauses: Sequence[Clause]) -> list[tuple[PlacedT, ...]]:
    """For each clause the things that start in it; things and clauses both in order of words."""
    dealt: list[tuple[PlacedT, ...]] = []
    at = 0
    for clause in clauses:
        first = at
        while at < len(things) and things[at].start < clause.end:
            at += 1
        dealt.append(tuple(things[first:at]))
    return dealt


def _times(transcript: Transcript, words: Words, view: ClauseView) -> tuple[float, float]:
    first = transcript.words[words.spoken[view.clause.start]]
    last = transcript.words[words.spoken[view.clause.end - 1]]
    return round(first.start, 3), round(last.end, 3)


def _heard_confidence(transcript: Transcript, words: Words, view: ClauseView) -> float:
    """How surely the recogniser heard the words that decided, as their mean."""
    deciding = {words.spoken[word] for word in words_of_all(view.terms, view.conditions, view.quantities)}
    if not deciding:
        return 1.0
    return sum(transcript.words[index].confidence for index in deciding) / len(deciding)


def _noted_by_facts(
    view: ClauseView, lexicon: Lexicon, pack: Pack, facts: Sequence[FactMention], mentions: Sequence[Mention]
) -> list[Mention]:
    """Checks that only ask for a fact to be noted are settled when it is."""
    if not facts:
        return []
    results = []
    judged = {mention.check for mention in mentions if mention.polarity in _JUDGED}
    stations = {lexicon.checks[check_id].station for check_id in judged}
    for check in pack.checks:
        if not check.notes or check.id in judged or check.station in stations:
            continue
        given = [fact for fact in facts if fact.fact in check.notes]
        if given:
            why = "; ".join(fact.why for fact in given)
            told = any(fact.basis == "told" for fact in given)
            results.append(Mention(check.id, "good", "told" if told else "seen", 0.9, why))
    return results


def _take_back(
    remarks: list[Remark], remark: Remark, view: ClauseView, pending: CueHit | None
) -> tuple[list[Remark], CueHit | None]:
    """Withdraw what the speaker takes back: "scratch that" the last remark that said something,
    "correction ..." the last ones about the same check, or else the last one.

    A correction waits until something is said: it is returned as pending meanwhile.
    """
    retract = view.reach.of_kind("retract")
    correct = view.reach.of_kind("correct")
    cue = (*retract, *correct, pending)[0] if retract or correct else pending
    if cue is None:
        return remarks, None
    backwards = reversed(range(len(remarks)))
    standing = (i for i in backwards if remarks[i].taken_back is None and _says_something(remarks[i]))
    spoken = list(islice(standing, _NEIGHBOURHOOD))[::-1]
    targets = spoken[-1:]
    if not retract:
        now = {mention.check for mention in remark.mentions if mention.polarity in _JUDGED}
        if not now and not remark.fittings and not remark.facts:
            return remarks, cue
        same = [i for i in spoken if now & {m.check for m in remarks[i].mentions}]
        targets = same[-1:] or targets
    words = view.cite(cue.start, cue.end)
    changed = list(remarks)
    for index in targets:
        changed[index] = replace(changed[index], taken_back=words)
    return changed, None


def _says_something(remark: Remark) -> bool:
    return (
        any(mention.polarity in _JUDGED for mention in remark.mentions)
        or bool(remark.facts)
        or bool(remark.fittings)
    )


def _class_afterwards(remarks: list[Remark], remark: Remark, view: ClauseView) -> list[Remark]:
    """ "That's a deal breaker": a class said in a remark of its own belongs to the defect before it."""
    stated = stated_severity(view.reach)
    if stated is None or any(m.polarity in _JUDGED for m in remark.mentions) or not remarks:
        return remarks
    last = remarks[-1]
    if not any(mention.polarity == "bad" for mention in last.mentions):
        return remarks
    severity, cue = stated
    said = f"; {view.cite(cue.start, cue.end)} ({severity})"
    mentions = tuple(
        replace(m, severity=severity, stated=True, why=m.why + said) if m.polarity == "bad" else m
        for m in last.mentions
    )
    return [*remarks[:-1], replace(last, mentions=mentions)]


def _without_absent(context: Context, remark: Remark) -> Context:
    """What is not there can't be what "it" means next."""
    absent = {fitting.fitting for fitting in remark.fittings if fitting.fitted is False}
    if not absent:
        return context
    terms = tuple(t for t in context.terms if not any(s.id in absent for s in t.subjects))
    return replace(context, terms=terms)


def _reason_before(remarks: list[Remark], view: ClauseView) -> list[Remark]:
    """ "It was unplugged, so I couldn't try it": what stood before the "so" is a reason, no defect."""
    if view.clause.joint not in ("break", "comma") or view.words.norms[view.clause.start] != "so":
        return remarks
    if len(remarks) < 2 or not view.reach.of_kind("not_tested"):
        return remarks
    untested = {m.check for m in remarks[-1].mentions if m.polarity == "not_tested"}
    before = remarks[-2]
    mentions = tuple(
        replace(m, polarity="named", severity=None, why=m.why + "; the reason for not testing")
        if m.check in untested and m.polarity == "bad"
        else m
        for m in before.mentions
    )
    return [*remarks[:-2], replace(before, mentions=mentions), remarks[-1]]


def _doubt_afterwards(remarks: list[Remark], view: ClauseView) -> list[Remark]:
    """ "... but I couldn't swear to it": a doubt in a remark of its own makes the one before it unsure."""
    cues = view.reach.of_kind("hedge")
    if not cues or view.terms or view.conditions or view.quantities or not remarks:
        return remarks
    if (
        cues[0].start - view.clause.start > _WORDS_BEFORE_DOUBT
        or view.clause.end - cues[0].end > _WORDS_BEFORE_DOUBT
    ):
        return remarks
    said = f"; {view.cite(cues[0].start, cues[0].end)} (hedge)"
    last = remarks[-1]
    mentions = tuple(
        replace(m, polarity="unsure", severity=None, why=m.why + said) if m.polarity in ("good", "bad") else m
        for m in last.mentions
    )
    return [*remarks[:-1], replace(last, mentions=mentions)]
