"""Finds the pack's phrases in a stretch of words and settles which of the overlapping ones count."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.lexicon import MEANINGS, CueUse, Entry, FactWord, How, Judgement, Place, Subject

from voicenotes.vocabulary.expand import verb_forms

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.lexicon import Lexicon

# Cues that take the words they stand on from one another: the longest is right.
_EXCLUSIVE = frozenset(
    {"negation", "pseudo", "hedge", "plan", "general", "hearsay", "not_tested", "history",
     "retract", "correct"}
)  # fmt: skip
_PARTICLES = frozenset(
    "in on out off up down there here over under back away through home across open move with for".split()
)
_ARTICLES = frozenset({"the", "a", "an"})
_BEFORE_PREDICATE = frozenset("is are was were be been being 's all already still not both now well".split())
_AFTER_PREDICATE = frozenset("and but or now already again too as so for".split())
_JUDGING = frozenset({"good", "bad", "noted"})


@dataclass(frozen=True)
class TermHit:
    """A term: words start..end (exclusive) name each of `subjects`.

    `inner` are the parts that shorter terms inside it name: "turret" in "turret indexes".
    """

    start: int
    end: int
    subjects: tuple[Subject, ...]
    how: How
    phrase: str
    inner: tuple[Subject, ...] = ()


@dataclass(frozen=True)
class ConditionHit:
    """A condition: its meanings, and those of shorter phrases inside it as a fallback."""

    start: int
    end: int
    meanings: tuple[Judgement, ...]
    inner: tuple[Judgement, ...]
    how: How
    phrase: str

    @property
    def is_noun(self) -> bool:
        """Whether it only names something unwanted or wanted."""
        return all(meaning.polarity in ("unwanted", "wanted", "name") for meaning in self.meanings)

    @property
    def judges(self) -> bool:
        """Whether it can judge by itself, not just name a side of something."""
        return any(meaning.polarity != "name" for meaning in self.meanings)


@dataclass(frozen=True)
class CueHit:
    """A cue phrase with its kind and reach."""

    start: int
    end: int
    use: CueUse
    phrase: str

    @property
    def kind(self) -> str:
        """The cue's kind, such as `negation`."""
        return self.use.kind


@dataclass(frozen=True)
class PlaceHit:
    """An announcement of a station."""

    start: int
    end: int
    station: str


@dataclass(frozen=True)
class FactHit:
    """Words that lead to a fact's value, follow it, or are it (`value`)."""

    start: int
    end: int
    fact: str
    role: str
    value: str | None


@dataclass(frozen=True)
class Hits:
    """All that was found in one transcript, each list in order of words."""

    terms: tuple[TermHit, ...]
    conditions: tuple[ConditionHit, ...]
    cues: tuple[CueHit, ...]
    places: tuple[PlaceHit, ...]
    facts: tuple[FactHit, ...]


def _walk(norms: Sequence[str], breaks: Sequence[int], lexicon: Lexicon) -> list[tuple[int, int, Entry]]:
    """Every meaning of every word sequence that doesn't run across a break."""
    tree = lexicon.tree
    found: list[tuple[int, int, Entry]] = []
    length = len(norms)
    for start in range(length):
        node = tree.get(norms[start])
        at = start + 1
        while node is not None:
            entries = node.get(MEANINGS)
            if entries:
                found.extend((start, at, entry) for entry in entries)
            if at >= length or breaks[at]:
                break
            node = node.get(norms[at])
            at += 1
    return found


def _longest(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Of overlapping spans the longest, and of equally long ones the first; in order of words."""
    chosen: list[tuple[int, int]] = []
    taken: set[int] = set()
    for start, end in sorted(set(spans), key=lambda span: (span[0] - span[1], span[0])):
        if not any(word in taken for word in range(start, end)):
            taken.update(range(start, end))
            chosen.append((start, end))
    return sorted(chosen)


def _inside(span: tuple[int, int], outer: tuple[int, int]) -> bool:
    return outer[0] <= span[0] and span[1] <= outer[1]


def _overlaps(span: tuple[int, int], other: tuple[int, int]) -> bool:
    return span[0] < other[1] and other[0] < span[1]


def _crosses(span: tuple[int, int], term: tuple[int, int]) -> bool:
    """Whether a condition runs into a term that is not part of it: "no service | records"."""
    return (
        _overlaps(span, term)
        and not _inside(span, term)
        and not _inside(term, span)
        and span[1] - span[0] <= term[1] - term[0] + 1
    )


def _only_grammar(
    span: tuple[int, int], norms: Sequence[str], breaks: Sequence[int], terms: Sequence[tuple[int, int]]
) -> bool:
    """Whether "in", "on" or "there" is used as grammar here and not as a predicate ("the belt is off")."""
    start, end = span
    if norms[end - 1] in _ARTICLES:
        return True
    if any(norms[word] not in _PARTICLES for word in range(start, end)):
        return False
    closed = end >= len(norms) or breaks[end] or norms[end] in _AFTER_PREDICATE
    before = norms[start - 1] if start and not breaks[start] else ""
    led = before in _BEFORE_PREDICATE or any(term[1] == start for term in terms)
    return not (closed and led)


def find_hits(
    norms: Sequence[str],
    breaks: Sequence[int],
    lexicon: Lexicon,
) -> Hits:
    """The terms, conditions, cues, fact words and announcements in the words."""
    by_span: dict[tuple[int, int], list[Entry]] = {}
    for start, end, entry in _walk(norms, breaks, lexicon):
        by_span.setdefault((start, end), []).append(entry)

    def spans_of(kind: type) -> list[tuple[int, int]]:
        return [
            span for span, entries in by_span.items() if any(isinstance(e.meaning, kind) for e in entries)
        ]

    subjects = _longest(spans_of(Subject))
    judging = [
        span
        for span in spans_of(Judgement)
        if not _only_grammar(span, norms, breaks, subjects)
        and not any(_crosses(span, term) for term in subjects)
    ]
    condition_spans = _longest(judging)
    cue_spans = _cue_spans(by_span)
    blocking = [span for span, kinds in cue_spans.items() if kinds & _EXCLUSIVE and span[1] - span[0] > 1]
    term_spans = [
        span
        for span in subjects
        if not any(_inside(span, outer) and span != outer for outer in blocking)
        and not any(_inside(span, outer) and span[0] != outer[0] for outer in condition_spans)
    ]
    inside = _inside_spans([span for span in spans_of(Subject) if span not in set(term_spans)], term_spans)
    terms = [_term(span, by_span[span], [by_span[s] for s in inside.get(span, ())]) for span in term_spans]
    conditions = _conditions(condition_spans, judging, by_span, term_spans, blocking, norms)
    cues = [
        CueHit(span[0], span[1], entry.meaning, entry.phrase)
        for span in sorted(cue_spans)
        for entry in by_span[span]
        if isinstance(entry.meaning, CueUse)
        and entry.meaning.kind in cue_spans[span]
        and not _hidden(span, entry.meaning.kind, term_spans, condition_spans)
    ]
    places = [
        PlaceHit(span[0], span[1], entry.meaning.station)
        for span in _longest(spans_of(Place))
        for entry in by_span[span][:]
        if isinstance(entry.meaning, Place)
    ]
    facts = [
        FactHit(span[0], span[1], entry.meaning.fact, entry.meaning.role, entry.meaning.value)
        for span in _longest(spans_of(FactWord))
        for entry in by_span[span]
        if isinstance(entry.meaning, FactWord)
    ]
    return Hits(tuple(terms), tuple(conditions), tuple(cues), tuple(places), tuple(facts))


def _cue_spans(by_span: dict[tuple[int, int], list[Entry]]) -> dict[tuple[int, int], set[str]]:
    """For each span the kinds of cue that count there: of overlapping rivals the longest."""
    kinds: dict[tuple[int, int], set[str]] = {}
    for span, entries in by_span.items():
        for entry in entries:
            if isinstance(entry.meaning, CueUse):
                kinds.setdefault(span, set()).add(entry.meaning.kind)
    rivals = _longest([span for span, here in kinds.items() if here & _EXCLUSIVE])
    counted: dict[tuple[int, int], set[str]] = {}
    for kind in {kind for here in kinds.values() for kind in here}:
        if kind in _EXCLUSIVE:
            spans = [span for span in rivals if kind in kinds[span]]
        else:
            spans = _longest([span for span, here in kinds.items() if kind in here])
        for span in spans:
            counted.setdefault(span, set()).add(kind)
    return counted


def _hidden(
    span: tuple[int, int],
    kind: str,
    terms: list[tuple[int, int]],
    conditions: list[tuple[int, int]],
) -> bool:
    """Whether a term or a condition has swallowed the cue ("nothing wrong", "emergency stop")."""
    if kind in ("class_critical", "class_major", "class_minor", "softener", "strengthener"):
        return any(_inside(span, outer) and span != outer for outer in terms)
    if any(_inside(span, outer) and span[1] - span[0] < outer[1] - outer[0] for outer in conditions):
        return True
    if kind == "negation" and any(outer[0] < span[1] < outer[1] for outer in conditions):
        return True  # "they are | not glazed": the condition has the negation in it
    return any(_inside(span, outer) for outer in terms)


def _inside_spans(
    spans: list[tuple[int, int]], outer_spans: list[tuple[int, int]]
) -> dict[tuple[int, int], list[tuple[int, int]]]:
    """The spans that lie inside each of the outer ones, which don't overlap and come in order."""
    inside: dict[tuple[int, int], list[tuple[int, int]]] = {}
    at = 0
    for span in sorted(spans):
        while at < len(outer_spans) and outer_spans[at][1] <= span[0]:
            at += 1
        if at < len(outer_spans) and _inside(span, outer_spans[at]):
            inside.setdefault(outer_spans[at], []).append(span)
    return inside


def _term(span: tuple[int, int], entries: list[Entry], inner: list[list[Entry]]) -> TermHit:
    naming = [entry for entry in entries if isinstance(entry.meaning, Subject)]
    order: list[How] = ["exact", "inflected", "misheard"]
    best = min(naming, key=lambda entry: order.index(entry.how)).how
    subjects = tuple(
        entry.meaning for entry in naming if entry.how == best and isinstance(entry.meaning, Subject)
    )
    parts = dict.fromkeys(
        entry.meaning
        for found in inner
        for entry in found
        if isinstance(entry.meaning, Subject) and entry.meaning.kind in ("part", "fitting")
    )
    return TermHit(span[0], span[1], subjects, best, naming[0].phrase, tuple(parts))


def _inside_term(
    span: tuple[int, int],
    term: tuple[int, int],
    meanings: tuple[Judgement, ...],
    by_span: dict[tuple[int, int], list[Entry]],
    is_verb: bool,
) -> tuple[Judgement, ...]:
    """What a condition still means on the words of a term.

    Its last words may name something unwanted or wanted: "spindle noise" is a noise, but a "chip
    conveyor" is no chip and a "live centre" is not "live". A verb at its end judges ("C axis
    engages"). A word that is a check's term and its own
    condition at once ("drained") keeps its meaning for that check.
    """
    own = {entry.meaning.id for entry in by_span[term] if isinstance(entry.meaning, Subject)}
    if span == term:
        return tuple(m for m in meanings if m.polarity not in _JUDGING or m.owner in own)
    verbs = tuple(
        m
        for m in meanings
        if is_verb and own and m.polarity in _JUDGING and (m.owner in own or "." not in m.owner)
    )
    if span[1] != term[1]:
        return verbs
    return tuple(m for m in meanings if m.polarity not in _JUDGING) + verbs


def _judges(entry: Entry) -> bool:
    return isinstance(entry.meaning, Judgement) and entry.meaning.polarity in _JUDGING


def _conditions(
    spans: list[tuple[int, int]],
    judging: list[tuple[int, int]],
    by_span: dict[tuple[int, int], list[Entry]],
    terms: list[tuple[int, int]],
    blocking: list[tuple[int, int]],
    norms: Sequence[str],
) -> list[ConditionHit]:
    found = []
    for span in spans:
        if any(_inside(span, cue) and span != cue for cue in blocking):
            continue
        entries = [entry for entry in by_span[span] if isinstance(entry.meaning, Judgement)]
        if any(entry.how == "exact" and _judges(entry) for entry in entries):
            # "fine" is no form of the noun "fines"
            entries = [entry for entry in entries if entry.how == "exact" or _judges(entry)]
        meanings = tuple(entry.meaning for entry in entries if isinstance(entry.meaning, Judgement))
        inner = tuple(
            entry.meaning
            for other in judging
            if _inside(other, span) and other != span
            for entry in by_span[other]
            if isinstance(entry.meaning, Judgement)
        )
        within = [term for term in terms if _inside(span, term)]
        if within:
            is_verb = norms[span[1] - 1].endswith("s") and bool(verb_forms(norms[span[1] - 1]))
            meanings = _inside_term(span, within[0], meanings, by_span, is_verb)
            inner = ()
            if not meanings:
                continue
        found.append(ConditionHit(span[0], span[1], meanings, inner, entries[0].how, entries[0].phrase))
    return found
