"""Reads a transcript: words in, remarks with their mentions out."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, TypeVar

from voicenotes.language.clause_view import ClauseView, Context, Topic
from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.facts import corrected_fact, plate_values, read_facts, with_facts, words_after_leads
from voicenotes.language.fittings import read_fittings
from voicenotes.language.judging import read_clause
from voicenotes.language.landmarks import landmarks_of
from voicenotes.language.lent_units import with_lent_units
from voicenotes.language.mentions import Mention, Remark, judged_afterwards, merge
from voicenotes.language.near import heard_hits
from voicenotes.language.owners import without_others_things
from voicenotes.language.phrase_search import find_hits
from voicenotes.language.quantities import detect_metric, find_quantities
from voicenotes.language.relevance import foreign_words, is_about_something_else, relevant, speaks_of_it
from voicenotes.language.remarks import clauses_of
from voicenotes.language.scope import reaches_of
from voicenotes.language.spans import Placed, words_of_all
from voicenotes.language.taking_back import (
    JUDGED,
    Correcting,
    answered,
    class_afterwards,
    correcting_cue,
    doubt_afterwards,
    last_said,
    last_word_counts,
    overtaken,
    reason_before,
    speaks_of_the_past,
    take_back,
)
from voicenotes.language.words import words_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.hits import FactHit, PlaceHit
    from voicenotes.language.lexicon import Lexicon
    from voicenotes.language.mentions import FactMention
    from voicenotes.language.remarks import Clause
    from voicenotes.language.words import Words
    from voicenotes.model import Basis, Transcript
    from voicenotes.vocabulary.schema import Pack

PlacedT = TypeVar("PlacedT", bound=Placed)
_FORGET_AFTER_S = 20.0
_CLAUSES_AHEAD = 6
_WORDS_BEFORE_PLACE = 4


def read_transcript(
    transcript: Transcript, pack: Pack, before: Sequence[Remark] = (), context: Context | None = None
) -> tuple[list[Remark], Context]:
    """All remarks of one transcript in order, and the context for the next recording.

    `before` are the remarks of the recordings before it: a "scratch that" may reach back into them,
    and then the list returned starts with them, changed.
    """
    lexicon = lexicon_of(pack)
    words = words_of(transcript)
    context = (context or Context()).forgotten()
    remarks = list(before)
    if not len(words):
        return remarks, context
    views = views_of(words, lexicon, context.heard.metric)
    names = words_after_leads([hit for _, _, hits in views for hit in hits], pack)
    foreign = foreign_words(words, views[0][0].covered | names, lexicon)
    ending = 0.0
    pending: Correcting | None = None
    topics: list[Topic] = []
    was: list[bool] = []
    noted = {fact.fact for remark in remarks if remark.taken_back is None for fact in remark.facts}
    for number, (view, places, fact_hits) in enumerate(views):
        start, end = _times(transcript, words, view)
        if start - ending > _FORGET_AFTER_S:
            context = context.forgotten()
        ending = end
        announced = [place for place in places if announces(view, place)]
        if announced:
            context = context.at_station(announced[-1].station)
        if context.station is None:
            context = replace(context, hint=station_of_sentence(views, number))
        cue = correcting_cue(view, pending)
        if cue is not None and (said := last_said(remarks)) is not None and said >= len(before):
            context = context.back_to(topics[said - len(before)])
        mentions, following = read_clause(view, context)
        mentions = relevant(view, foreign, mentions)
        if not mentions and is_about_something_else(view, foreign):
            following = replace(following, topics=context.topics, station=context.station)
        heard = _heard_confidence(transcript, words, view)
        mentions = [replace(m, confidence=round(m.confidence * heard, 3)) for m in mentions]
        about_it = speaks_of_it(view, foreign, view.terms)
        given = corrected_fact(view, context, fact_hits, cue is not None)
        facts = read_facts(view, pack, given) if about_it else []
        facts = plate_values(facts, mentions, lexicon.checks)
        following = with_facts(following, facts)
        noted |= {fact.fact for fact in facts}
        settled = _noted_by_facts(lexicon, pack, facts, noted, mentions)
        remark = Remark(
            quote=words.quote(view.clause.start, view.clause.end),
            start=start,
            end=end,
            mentions=tuple(merge([*mentions, *settled])),
            fittings=tuple(read_fittings(view, mentions)) if about_it else (),
            facts=tuple(facts),
        )
        pending = take_back(remarks, remark, view, pending)
        last_word_counts(remarks, remark, pending)
        overtaken(remarks, remark, view, was)
        was.append(speaks_of_the_past(view))
        answered(remarks, view)
        class_afterwards(remarks, remark, view)
        doubt_afterwards(remarks, view)
        if len(remarks) > len(before) and not view.terms:
            remarks[-1] = judged_afterwards(remarks[-1], mentions)
        remarks.append(remark)
        topics.append(following.topics[0] if following.topics else Topic((), ()))
        reason_before(remarks, view)
        context = _without_absent(following, remark)
    return remarks, context


def speaks_metric(transcripts: Sequence[Transcript]) -> bool | None:
    """Whether a visit's speaker works metric, by the units in all his recordings; None when unknown."""
    return detect_metric([norm for transcript in transcripts for norm in (*words_of(transcript).norms, "")])


def views_of(
    words: Words, lexicon: Lexicon, metric: bool | None
) -> list[tuple[ClauseView, tuple[PlaceHit, ...], tuple[FactHit, ...]]]:
    """Each remark with all that was found in it, the stations it announces and its fact words."""
    hits = find_hits(words.norms, words.breaks, lexicon)
    metric = detect_metric(words.norms) if metric is None else metric
    quantities = find_quantities(words.norms, metric, words.breaks)
    hits = heard_hits(words, lexicon, hits, quantities)
    hits = without_others_things(words, hits, lexicon.elsewhere)
    quantities = with_lent_units(words.norms, words.breaks, quantities, frozenset(words_of_all(hits.terms)))
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


def announces(view: ClauseView, place: PlaceHit) -> bool:
    """Whether a place's name says where he goes now, not where something is: "... behind the conveyor"."""
    start = view.clause.start
    if any(start <= condition.start < place.start for condition in view.conditions if condition.judges):
        return False
    return place.start - start <= _WORDS_BEFORE_PLACE or bool(view.reach.of_kind("marker"))


def station_of_sentence(
    views: Sequence[tuple[ClauseView, tuple[PlaceHit, ...], tuple[FactHit, ...]]], place: int
) -> str | None:
    """Where a talk that announces no place begins: the station of the first check that its sentence names."""
    sentence = views[place][0].clause.sentence
    for view, _, _ in islice(views, place, place + _CLAUSES_AHEAD):
        if view.clause.sentence != sentence:
            break
        for term in view.terms:
            stations = {view.lexicon.checks[s.id].station for s in term.subjects if s.kind == "check"}
            if len(stations) == 1 and len(term.subjects) == 1:
                return stations.pop()
    return None


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
    lexicon: Lexicon, pack: Pack, facts: Sequence[FactMention], noted: set[str], mentions: Sequence[Mention]
) -> list[Mention]:
    """Checks that only ask for facts to be noted are settled by the remark that gives the last one needed;
    `noted` are all the facts so far."""
    if not facts:
        return []
    results = []
    judged = {mention.check for mention in mentions if mention.polarity in JUDGED}
    stations = {lexicon.checks[check_id].station for check_id in judged}
    for check in pack.checks:
        if not check.notes or check.id in judged or check.station in stations:
            continue
        given = [fact for fact in facts if fact.fact in check.notes]
        if given and len(noted.intersection(check.notes)) >= check.notes_needed:
            why = "; ".join(fact.why for fact in given)
            told = any(fact.basis == "told" for fact in given)
            grounds = tuple(ground for fact in given for ground in fact.grounds)
            basis: Basis = "told" if told else "seen"
            results.append(Mention(check.id, "good", basis, 0.9, why, grounds=grounds))
    return results


def _without_absent(context: Context, remark: Remark) -> Context:
    """What is not there can't be what "it" means next."""
    absent = {fitting.fitting for fitting in remark.fittings if fitting.fitted is False}
    if not absent:
        return context
    topics = tuple(
        replace(topic, terms=tuple(t for t in topic.terms if not any(s.id in absent for s in t.subjects)))
        for topic in context.topics
    )
    return replace(context, topics=topics)
