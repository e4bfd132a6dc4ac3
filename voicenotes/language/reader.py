"""Reads a transcript: words in, remarks with their mentions out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.facts import read_facts
from voicenotes.language.fittings import read_fittings
from voicenotes.language.hits import find_hits
from voicenotes.language.judging import ClauseView, Context, merge, read_clause
from voicenotes.language.lexicon import lexicon_of
from voicenotes.language.mentions import Mention, Remark
from voicenotes.language.near import guess_terms
from voicenotes.language.quantities import detect_metric, find_quantities
from voicenotes.language.remarks import clauses_of, landmarks_of
from voicenotes.language.scope import reaches_of
from voicenotes.language.words import words_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.hits import CueHit, FactHit, PlaceHit
    from voicenotes.language.lexicon import Lexicon
    from voicenotes.language.words import Words
    from voicenotes.model import Transcript
    from voicenotes.vocabulary.schema import Pack

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
        context = following
    return remarks, context


def _views(words: Words, lexicon: Lexicon, pack: Pack) -> list[tuple[ClauseView, list[PlaceHit], list[FactHit]]]:
    hits = find_hits(words.norms, words.breaks, lexicon)
    guesses = guess_terms(words, lexicon, hits)
    if guesses:
        terms = sorted((*hits.terms, *guesses), key=lambda term: term.start)
        hits = replace(hits, terms=tuple(terms))
    quantities = find_quantities(words.norms, detect_metric(words.norms))
    marks = landmarks_of(hits, quantities)
    clauses = clauses_of(words, marks)
    reaches = reaches_of(clauses, hits.cues, words)
    covered: set[int] = set()
    for hit in (*hits.terms, *hits.conditions, *hits.cues, *hits.facts, *quantities):
        covered.update(range(hit.start, hit.end))
    frozen = frozenset(covered)
    views = []
    at = dict.fromkeys(("terms", "conditions", "quantities", "places", "facts"), 0)
    for clause, reach in zip(clauses, reaches, strict=True):
        inside = {}
        for name, items in (
            ("terms", hits.terms), ("conditions", hits.conditions), ("quantities", quantities),
            ("places", hits.places), ("facts", hits.facts),
        ):  # fmt: skip
            first = at[name]
            while at[name] < len(items) and items[at[name]].start < clause.end:
                at[name] += 1
            inside[name] = items[first : at[name]]
        view = ClauseView(
            words, marks, clause, tuple(inside["terms"]), tuple(inside["conditions"]),
            tuple(inside["quantities"]), reach, frozen, lexicon,
        )  # fmt: skip
        views.append((view, list(inside["places"]), list(inside["facts"])))
    return views


def _times(transcript: Transcript, words: Words, view: ClauseView) -> tuple[float, float]:
    first = transcript.words[words.spoken[view.clause.start]]
    last = transcript.words[words.spoken[view.clause.end - 1]]
    return round(first.start, 3), round(last.end, 3)


def _heard_confidence(transcript: Transcript, words: Words, view: ClauseView) -> float:
    """How surely the recogniser heard the words that decided, as their mean."""
    deciding = {
        words.spoken[word]
        for hit in (*view.terms, *view.conditions, *view.quantities)
        for word in range(hit.start, hit.end)
    }
    if not deciding:
        return 1.0
    return sum(transcript.words[index].confidence for index in deciding) / len(deciding)


def _noted_by_facts(
    view: ClauseView, lexicon: Lexicon, pack: Pack, facts: Sequence[object], mentions: Sequence[Mention]
) -> list[Mention]:
    """Checks that only ask for a fact to be noted are settled when it is."""
    results = []
    judged = {mention.check for mention in mentions if mention.polarity in _JUDGED}
    if not facts:
        return []
    for check in pack.checks:
        if not check.notes or check.id in judged or any(check.station in other for other in judged):
            continue
        given = [fact for fact in facts if getattr(fact, "fact", None) in check.notes]
        if given:
            why = "; ".join(str(getattr(fact, "why", "")) for fact in given)
            told = any(getattr(fact, "basis", "") == "told" for fact in given)
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
    spoken = [i for i, r in enumerate(remarks) if r.taken_back is None and _says_something(r)]
    targets = spoken[-1:]
    if not retract:
        now = {mention.check for mention in remark.mentions if mention.polarity in _JUDGED}
        if not now and not remark.fittings and not remark.facts:
            return remarks, cue
        same = [i for i in spoken[-_NEIGHBOURHOOD:] if now & {m.check for m in remarks[i].mentions}]
        targets = same[-1:] or targets
    words = f"{view.cite(cue.start, cue.end)}"
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
    cues = view.reach.of_kind("class_critical", "class_major", "class_minor")
    if not cues or any(m.polarity in _JUDGED for m in remark.mentions) or not remarks:
        return remarks
    last = remarks[-1]
    if not any(mention.polarity == "bad" for mention in last.mentions):
        return remarks
    severity = cues[0].kind.removeprefix("class_")
    said = f"; {view.cite(cues[0].start, cues[0].end)} ({severity})"
    mentions = tuple(
        replace(m, severity=severity, stated=True, why=m.why + said) if m.polarity == "bad" else m
        for m in last.mentions
    )
    return [*remarks[:-1], replace(last, mentions=mentions)]


def _doubt_afterwards(remarks: list[Remark], view: ClauseView) -> list[Remark]:
    """ "... but I couldn't swear to it": a doubt in a remark of its own makes the one before it unsure."""
    cues = view.reach.of_kind("hedge")
    if not cues or view.terms or view.conditions or view.quantities or not remarks:
        return remarks
    if cues[0].start - view.clause.start > _WORDS_BEFORE_DOUBT or view.clause.end - cues[0].end > _WORDS_BEFORE_DOUBT:
        return remarks
    said = f"; {view.cite(cues[0].start, cues[0].end)} (hedge)"
    last = remarks[-1]
    mentions = tuple(
        replace(m, polarity="unsure", severity=None, why=m.why + said) if m.polarity in ("good", "bad") else m
        for m in last.mentions
    )
    return [*remarks[:-1], replace(last, mentions=mentions)]
