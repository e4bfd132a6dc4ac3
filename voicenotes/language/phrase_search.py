"""Finds the pack's phrases in a stretch of words and settles which of the overlapping ones count."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.hits import ConditionHit, CueHit, FactHit, Hits, PlaceHit, TermHit
from voicenotes.language.lexicon import (
    MEANINGS,
    CueUse,
    Entry,
    FactWord,
    How,
    Judgement,
    Place,
    Subject,
)
from voicenotes.language.spans import Cover, Span, by_outer, longest
from voicenotes.language.words import STRONG
from voicenotes.vocabulary.expand import verb_forms

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.lexicon import Lexicon

# Cues that take the words they stand on from one another: the longest is right.
_EXCLUSIVE = frozenset(
    {"negation", "pseudo", "hedge", "plan", "general", "hearsay", "not_tested", "history",
     "retract", "correct", "marker", "exception", "comparison"}
)  # fmt: skip
_CLASSING = frozenset({"class_critical", "class_major", "class_minor", "softener", "strengthener"})
_PARTICLES = frozenset(
    {"in", "on", "out", "off", "up", "down", "there", "here", "over", "under", "back", "away",
     "through", "across", "open", "move", "with", "for", "right"}
)  # fmt: skip
_ONTO = frozenset({"on", "in", "at"})
_PLACES = frozenset({"in", "on", "at", "under", "behind", "from", "over", "round", "around", "inside", "off"})
_DENYING = frozenset({"not", "no", "never", "refuses", "refused", "fails", "failed", "without"})
_MODALS = frozenset({"will", "would", "does", "do", "did", "can", "could"})
_ALSO_VERBS = frozenset({"open", "move"})
_LEVELS = frozenset({"low", "high"})
_SPOKEN_APART = frozenset({"correct", "retract"})
_ARTICLES = frozenset({"the", "a", "an"})
_BEFORE_PREDICATE = frozenset(
    {"is", "are", "was", "were", "be", "been", "being", "'s", "all", "already", "still", "not",
     "both", "now", "well", "too", "very", "bit", "slightly", "running", "reads", "reading", "way",
     "little", "sits", "sitting", "looks", "seems", "a"}
)  # fmt: skip
_AFTER_PREDICATE = frozenset(["and", "but", "or", "now", "already", "again", "too", "as", "so", "for"])
_JUDGING = frozenset({"good", "bad", "noted"})
_SURENESS: tuple[How, ...] = ("exact", "inflected", "misheard")


Entries = dict[Span, list[Entry]]


def find_hits(norms: Sequence[str], breaks: Sequence[int], lexicon: Lexicon) -> Hits:
    """The terms, conditions, cues, fact words and announcements in the words."""
    by_span = _entries_in(norms, breaks, lexicon)
    named = Cover(longest(_spans_of(by_span, Subject)))
    judging = [
        span
        for span in _spans_of(by_span, Judgement)
        if not _only_grammar(span, norms, breaks, named) and not _runs_into_term(span, named)
    ]
    condition_spans = longest(judging)
    conditions = Cover(condition_spans)
    cue_kinds = _cue_kinds(by_span, norms)
    blocking = Cover(
        span for span, kinds in cue_kinds.items() if kinds & _EXCLUSIVE and span[1] - span[0] > 1
    )
    term_spans = [
        span
        for span in longest(_spans_of(by_span, Subject))
        if blocking.around(span) in (None, span) and _starts_or_free(span, conditions, norms)
    ]
    term_spans = [span for span in term_spans if not _is_verb_after_no(span, norms, breaks)]
    terms = Cover(term_spans)
    parts = by_outer(_spans_of(by_span, Subject), terms)
    inner = by_outer(judging, conditions)
    return Hits(
        tuple(_term(by_span, span, parts.get(span, [])) for span in term_spans),
        tuple(
            hit
            for span in condition_spans
            if blocking.around(span) in (None, span)
            for hit in _condition(by_span, span, inner.get(span, []), terms, norms)
        ),
        tuple(
            CueHit(span[0], span[1], entry.meaning, entry.phrase)
            for span in sorted(cue_kinds)
            for entry in by_span[span]
            if isinstance(entry.meaning, CueUse)
            and entry.meaning.kind in cue_kinds[span]
            and not _hidden(span, entry.meaning.kind, terms, conditions)
            and not (entry.meaning.kind == "present" and blocking.around(span) not in (None, span))
        ),
        tuple(
            PlaceHit(span[0], span[1], entry.meaning.station)
            for span in longest(_spans_of(by_span, Place))
            for entry in by_span[span]
            if isinstance(entry.meaning, Place)
        ),
        tuple(
            FactHit(span[0], span[1], entry.meaning.fact, entry.meaning.role, entry.meaning.value)
            for span in longest(_spans_of(by_span, FactWord))
            for entry in by_span[span]
            if isinstance(entry.meaning, FactWord)
        ),
    )


def _entries_in(norms: Sequence[str], breaks: Sequence[int], lexicon: Lexicon) -> Entries:
    """Every meaning of every word sequence that doesn't run across a break; corrections may run
    across a short one ("no, wait")."""
    found: Entries = {}
    length = len(norms)
    for start in range(length):
        node = lexicon.tree.get(norms[start])
        at = start + 1
        crossed = False
        while node is not None:
            entries = node.get(MEANINGS)
            if entries and crossed:
                entries = {
                    m: e for m, e in entries.items() if isinstance(m, CueUse) and m.kind in _SPOKEN_APART
                }
            if entries:
                found[start, at] = list(entries.values())
            if at >= length or breaks[at] == STRONG:
                break
            crossed = crossed or bool(breaks[at])
            node = node.get(norms[at])
            at += 1
    return found


def _spans_of(by_span: Entries, kind: type) -> list[Span]:
    return [span for span, entries in by_span.items() if any(isinstance(e.meaning, kind) for e in entries)]


def _starts_or_free(span: Span, conditions: Cover, norms: Sequence[str]) -> bool:
    """Whether a term stands free of longer conditions, begins one ("spindle | trips out"), or is where
    one is ("in the | cabinet")."""
    outer = conditions.around(span)
    return outer is None or outer[0] == span[0] or (norms[outer[0]] in _PLACES and span[0] - outer[0] > 1)


def _is_verb_after_no(span: Span, norms: Sequence[str], breaks: Sequence[int]) -> bool:
    """Whether a thing's name is a verb here: "it won't | centre"."""
    start, end = span
    if end - start > 1 or start < 2 or breaks[start]:
        return False
    return norms[start - 1] == "not" and norms[start - 2] in _MODALS and not breaks[start - 1]


def _runs_into_term(span: Span, named: Cover) -> bool:
    """Whether a condition runs into a term that is not part of it: "no service | records"."""
    term = named.crossed_by(span)
    return term is not None and span[1] - span[0] <= term[1] - term[0] + 1


def _only_grammar(span: Span, norms: Sequence[str], breaks: Sequence[int], named: Cover) -> bool:
    """Whether "in", "on" or "there" is used as grammar here and not as a predicate ("the belt is off")."""
    start, end = span
    if norms[end - 1] in _ARTICLES:
        return True
    if end - start > 1 and norms[end - 1] in _ONTO and end < len(norms) and norms[end] in _ARTICLES:
        return True  # "red lamp on | the stack light"
    before = norms[start - 1] if start and not breaks[start] else ""
    led = before in _BEFORE_PREDICATE or named.ends_at(start)
    if end - start == 1 and norms[start] in _LEVELS:
        return not led
    if any(norms[word] not in _PARTICLES for word in range(start, end)):
        return False
    if before == "to" and norms[start] in _ALSO_VERBS:
        return False
    closed = end >= len(norms) or breaks[end] or norms[end] in _AFTER_PREDICATE
    return not (closed and led)


def _anybody_cannot(span: Span, norms: Sequence[str]) -> bool:
    """ "You can't read the labels": what nobody can do is the thing's fault, not a check left out."""
    return span[0] > 0 and norms[span[0] - 1] == "you" and norms[span[0]] in _MODALS


def _cue_kinds(by_span: Entries, norms: Sequence[str]) -> dict[Span, set[str]]:
    """For each span the kinds of cue that count there: of overlapping rivals the longest."""
    spans_by_kind: dict[str, list[Span]] = {}
    for span, entries in by_span.items():
        for entry in entries:
            if isinstance(entry.meaning, CueUse):
                if entry.meaning.kind == "not_tested" and _anybody_cannot(span, norms):
                    continue
                spans_by_kind.setdefault(entry.meaning.kind, []).append(span)
    rivals = set(longest(span for kind in _EXCLUSIVE for span in spans_by_kind.get(kind, ())))
    counted: dict[Span, set[str]] = {}
    for kind, spans in spans_by_kind.items():
        for span in rivals.intersection(spans) if kind in _EXCLUSIVE else longest(spans):
            counted.setdefault(span, set()).add(kind)
    return counted


def _hidden(span: Span, kind: str, terms: Cover, conditions: Cover) -> bool:
    """Whether a term or a condition has swallowed the cue ("nothing wrong", "emergency stop")."""
    if kind in _CLASSING:
        return terms.around(span) not in (None, span)
    outer = conditions.around(span)
    if outer is not None and outer != span:
        return True
    if kind == "negation":  # "they are | not glazed": the condition has the negation in it
        crossed = conditions.crossed_by(span)
        if crossed is not None and crossed[0] < span[1] < crossed[1]:
            return True
    return terms.around(span) is not None


def _term(by_span: Entries, span: Span, inner: list[Span]) -> TermHit:
    naming = [
        (entry.how, entry.meaning, entry) for entry in by_span[span] if isinstance(entry.meaning, Subject)
    ]
    best = min((how for how, _, _ in naming), key=_SURENESS.index)
    subjects = tuple(subject for how, subject, _ in naming if how == best)
    parts = dict.fromkeys(
        entry.meaning
        for inner_span in inner
        for entry in by_span[inner_span]
        if isinstance(entry.meaning, Subject) and entry.meaning.kind in ("part", "fitting")
    )
    return TermHit(span[0], span[1], subjects, best, naming[0][2].phrase, tuple(parts))


def _judgements(entries: list[Entry]) -> tuple[Judgement, ...]:
    return tuple(entry.meaning for entry in entries if isinstance(entry.meaning, Judgement))


def _condition(
    by_span: Entries, span: Span, inner: list[Span], terms: Cover, norms: Sequence[str]
) -> list[ConditionHit]:
    """The condition of a span; none when it stands in a term and says nothing there."""
    entries = [entry for entry in by_span[span] if isinstance(entry.meaning, Judgement)]
    if any(entry.how == "exact" and _judges(entry) for entry in entries):
        # "fine" is no form of the noun "fines"
        entries = [entry for entry in entries if entry.how == "exact" or _judges(entry)]
    meanings = _judgements(entries)
    inner_meanings = tuple(
        meaning
        for at in inner
        if not _DENYING.intersection(norms[span[0] : at[0]])  # "refuses to | start" is no start
        for meaning in _judgements(by_span[at])
    )
    term = terms.around(span)
    if term is not None:
        meanings, inner_meanings = _inside_term(by_span, span, term, meanings, norms), ()
    if not meanings:
        return []
    how = min((entry.how for entry in entries), key=_SURENESS.index)
    return [ConditionHit(span[0], span[1], meanings, inner_meanings, how, entries[0].phrase)]


def _judges(entry: Entry) -> bool:
    return isinstance(entry.meaning, Judgement) and entry.meaning.polarity in _JUDGING


def _inside_term(
    by_span: Entries, span: Span, term: Span, meanings: tuple[Judgement, ...], norms: Sequence[str]
) -> tuple[Judgement, ...]:
    """What a condition still means on the words of a term.

    Its last words may name something unwanted or wanted: "spindle noise" is a noise, but a "chip
    conveyor" is no chip and a "live centre" is not "live". A verb at its end judges ("C axis
    engages"). A word that is a check's term and its own condition at once ("drained") keeps its
    meaning for that check.
    """
    own = {entry.meaning.id for entry in by_span[term] if isinstance(entry.meaning, Subject)}
    if span == term:
        return tuple(m for m in meanings if m.polarity not in _JUDGING or m.owner in own)
    last = norms[span[1] - 1]
    is_verb = last.endswith("s") and bool(verb_forms(last))
    verbs = tuple(
        m
        for m in meanings
        if is_verb and own and m.polarity in _JUDGING and (m.owner in own or "." not in m.owner)
    )
    if span[1] != term[1]:
        return verbs
    return tuple(m for m in meanings if m.polarity not in _JUDGING) + verbs
