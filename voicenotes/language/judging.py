"""Reads one remark: which checks it judges, how, and which words decided."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from voicenotes.language.binding import groups_of, subjects_of
from voicenotes.language.choose_check import Choice, choose_by_place, choose_checks, expand_subjects
from voicenotes.language.lexicon import CERTAINTY, Subject
from voicenotes.language.limits import judge, limit_for
from voicenotes.language.mentions import Mention
from voicenotes.language.remarks import DETERMINERS
from voicenotes.language.scope import circumstances_of, negations_of, reaches_condition
from voicenotes.vocabulary.expand import morphology
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from voicenotes.language.binding import Group
    from voicenotes.language.hits import ConditionHit, CueHit, TermHit
    from voicenotes.language.lexicon import Judgement, Lexicon
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.remarks import Clause, Landmarks
    from voicenotes.language.scope import Reach
    from voicenotes.language.words import Words
    from voicenotes.model import Basis, Polarity, Reading, Severity
    from voicenotes.vocabulary.schema import Check

_CARRIED = 0.85
_BY_PLACE = 0.7
_OWNERS = frozenset("the its their this that his my".split())
_NEAR_WORDS = 3
_BEFORE_ADJECTIVE = frozenset("a an some any this that the with got has there's is".split())
_BASE_LINKS = frozenset("over across along per in at for on".split())
_REASON_STARTS = frozenset(
    "there no nobody because since as it they he she someone somebody without".split()
)
_CIRCUMSTANCE = frozenset("at above below over under past from after beyond until around for every".split())
_SEVERITIES: tuple[Severity, ...] = ("minor", "major", "critical")

@dataclass(frozen=True)
class Context:
    """What was spoken of just before: the things named, the checks judged, and where he stands."""

    terms: tuple[TermHit, ...] = ()
    checks: tuple[str, ...] = ()
    station: str | None = None
    untested_in: int | None = None


@dataclass(frozen=True)
class ClauseView:
    """One remark with all that was found in it."""

    words: Words
    marks: Landmarks
    clause: Clause
    terms: tuple[TermHit, ...]
    conditions: tuple[ConditionHit, ...]
    quantities: tuple[Quantity, ...]
    reach: Reach
    covered: frozenset[int]
    lexicon: Lexicon

    def say(self, start: int, end: int) -> str:
        """The transcript's words start..end, without the marks around them."""
        return self.words.text[self.words.starts[start] : self.words.ends[end - 1]].rstrip(".,;:!?")

    def cite(self, start: int, end: int) -> str:
        """The same in quotation marks, for a reason given."""
        return f'"{self.say(start, end)}"'


@dataclass(frozen=True)
class Found:
    """A check judged by one condition, before the cues about speaker and time are applied."""

    choice: Choice
    polarity: Polarity
    condition: ConditionHit | None
    confidence: float
    because: str
    reading: Reading | None = None


def read_clause(view: ClauseView, context: Context) -> tuple[list[Mention], Context]:
    """The mentions of checks in one remark, and the context for the next."""
    groups = groups_of(view.words, view.terms, view.conditions)
    untested = view.reach.of_kind("not_tested")
    if untested:
        mentions = _not_tested(view, context, untested[0])
        following = _next_context(view, context, mentions)
        return mentions, replace(following, untested_in=view.clause.sentence)
    if context.untested_in == view.clause.sentence and _gives_a_reason(view):
        return [], context
    found = _judgements(view, context, groups)
    measured = _measurements(view, context, found)
    found = [item for item in found if not _overruled(view, item, measured)] + measured
    mentions = _with_cues(view, found)
    mentions += _only_named(view, {mention.check for mention in mentions}, context)
    merged = merge(mentions)
    return merged, _next_context(view, context, merged)


def _main_terms(
    view: ClauseView, terms: tuple[TermHit, ...], judged: tuple[str, ...]
) -> tuple[TermHit, ...]:
    """The things a remark was about, which "it" may mean next: not those in "... on the guards"."""
    main = []
    for term in terms:
        start = term.start
        while start > view.clause.start and view.words.norms[start - 1] in DETERMINERS:
            start -= 1
        own = any(subject.kind == "check" and subject.id in judged for subject in term.subjects)
        if own or start - 1 not in view.marks.links:
            main.append(term)
    return tuple(main) or terms[:1]


def _gives_a_reason(view: ClauseView) -> bool:
    """Whether a remark after "couldn't test ..." in the same sentence only says why."""
    if view.words.norms[view.clause.start] in _REASON_STARTS:
        return True
    return all(subject.kind == "machine" for term in view.terms for subject in term.subjects)


def _next_context(view: ClauseView, context: Context, mentions: list[Mention]) -> Context:
    terms = tuple(term for term in view.terms if any(s.kind != "machine" for s in term.subjects))
    judged = tuple(dict.fromkeys(m.check for m in mentions))
    station = view.lexicon.checks[judged[-1]].station if judged else context.station
    if terms:
        return Context(_main_terms(view, terms, judged), judged, station)
    return Context(context.terms, judged or context.checks, station)


# --- conditions ---------------------------------------------------------------------------------


def _judgements(view: ClauseView, context: Context, groups: list[Group]) -> list[Found]:
    conditions = view.conditions
    negations = negations_of(view.words, view.reach, conditions)
    circumstances = circumstances_of(view.reach, conditions)
    named = frozenset(
        meaning.owner
        for condition in conditions
        for meaning in condition.meanings
        if meaning.polarity in ("name", "unwanted", "wanted") and meaning.owner != GENERAL
    )
    found: list[Found] = []
    for index, condition in enumerate(conditions):
        if not condition.judges or _is_idiom(view, condition) or index in circumstances:
            continue
        if _only_strengthens(view, condition, conditions[index + 1 : index + 2]):
            continue
        turning = negations.get(index, ())
        for choice, certainty, carried in _choices(view, context, groups, condition, named):
            polarity = _polarity(view, condition, choice.meaning, turning)
            if polarity is None:
                continue
            why = _because(view, condition, choice, turning, carried)
            found.append(Found(choice, polarity, condition, certainty, why))
    return found


def _leads_to_value(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether a good word only leads to a value: "comes up to | nine bar", "a good | three thou"."""
    if any(meaning.polarity != "good" for meaning in condition.meanings):
        return False
    return any(0 <= quantity.start - condition.end <= 1 for quantity in view.quantities)


def _only_strengthens(
    view: ClauseView, condition: ConditionHit, following: tuple[ConditionHit, ...]
) -> bool:
    """Whether an adjective only says how bad the noun after it is: "a heavy | clunk"."""
    return (
        bool(following)
        and not condition.is_noun
        and following[0].start == condition.end
        and not view.words.breaks[condition.end]
        and any(meaning.polarity == "unwanted" for meaning in following[0].meanings)
        and view.words.norms[condition.start - 1 if condition.start > view.clause.start else condition.start]
        in _BEFORE_ADJECTIVE
    )


def _is_idiom(view: ClauseView, condition: ConditionHit) -> bool:
    """ "A good three thou" is no praise, and "its travel" names a thing."""
    before = view.words.norms[condition.start - 1] if condition.start > view.clause.start else ""
    if before in ("a", "an") and any(q.start == condition.end for q in view.quantities):
        return True
    return (
        before in _OWNERS
        and condition.end - condition.start == 1
        and condition.how == "inflected"
        and not any(term.start == condition.end for term in view.terms)
    )


def _choices(
    view: ClauseView,
    context: Context,
    groups: list[Group],
    condition: ConditionHit,
    named: frozenset[str],
) -> list[tuple[Choice, float, bool]]:
    """The checks a condition judges, each with its confidence and whether the subject was carried over."""
    group, rest = subjects_of(
        view.words, view.marks, view.clause, condition, groups, view.conditions
    )
    certainty = CERTAINTY[condition.how]
    results: list[tuple[Choice, float, bool]] = []
    near = tuple(
        term
        for term in rest
        if 0 <= term.start - condition.end <= _NEAR_WORDS or 0 <= condition.start - term.end <= _NEAR_WORDS
    )
    for terms in (group, near):
        for term in terms:
            others = tuple(other for other in (*group, *rest) if other is not term)
            if len(group) > 1 and term in group:
                others = rest
            for choice in choose_checks(
                view.lexicon, condition.meanings, condition.inner, term, others, named, context.station
            ):
                results.append((choice, certainty * CERTAINTY[term.how], False))
        if results:
            better = _better_elsewhere(view, context, condition, rest, named, max(c.score for c, _, _ in results))
            return [(choice, certainty * CERTAINTY[choice.via.how], False) for choice in better if choice.via] or results
    if not _only_circumstances(view, (*group, *rest)):
        return []
    if _stands_for_something_else(view, condition):
        own = [meaning for meaning in condition.meanings if meaning.owner in view.lexicon.checks]
        if view.terms or view.words.norms[view.clause.start] != "the":
            return []
        return [(choice, certainty * _BY_PLACE, True) for choice in choose_by_place(view.lexicon, own, context.station)]
    carried = list(context.terms) + [
        replace(_ghost(condition), subjects=(Subject("check", check),)) for check in context.checks
    ]
    best: list[Choice] = []
    for term in carried:
        others = tuple(other for other in context.terms if other is not term)
        for choice in choose_checks(
            view.lexicon, condition.meanings, condition.inner, term, others, named, context.station
        ):
            if choice.score > 2.5:
                best.append(choice)
    if best:
        top = max(choice.score for choice in best)
        kept = {choice.check: choice for choice in best if choice.score > top - 0.25}
        if len(kept) <= max(1, len(context.checks), len(context.terms)):
            return [(choice, certainty * _CARRIED, True) for choice in kept.values()]
        return []
    return [
        (choice, certainty * _BY_PLACE, True)
        for choice in choose_by_place(view.lexicon, condition.meanings, context.station)
    ]


def _better_elsewhere(
    view: ClauseView,
    context: Context,
    condition: ConditionHit,
    rest: tuple[TermHit, ...],
    named: frozenset[str],
    best: float,
) -> list[Choice]:
    """A check named by its own term elsewhere in the remark, which owns the condition: "the spindle
    starts | with the door open"."""
    found: list[Choice] = []
    for term in rest:
        if all(subject.kind == "check" for subject in term.subjects):
            found += [
                choice
                for choice in choose_checks(
                    view.lexicon, condition.meanings, condition.inner, term, (), named, context.station
                )
                if choice.score > best and choice.meaning.owner == choice.check
            ]
    return found


def _only_circumstances(view: ClauseView, terms: tuple[TermHit, ...]) -> bool:
    """Whether all that is named is the machine, or where something is ("straight on X")."""
    for term in terms:
        if all(subject.kind == "machine" for subject in term.subjects):
            continue
        start = term.start
        while start > view.clause.start and view.words.norms[start - 1] in DETERMINERS:
            start -= 1
        if start - 1 not in view.marks.links:
            return False
    return True


def _ghost(condition: ConditionHit) -> TermHit:
    from voicenotes.language.hits import TermHit

    return TermHit(condition.start, condition.start, (), "exact", "")


def _stands_for_something_else(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether the remark has a subject of its own that the pack doesn't know ("the coffee is good")."""
    function = morphology().function
    norms = view.words.norms

    def unknown(word: int) -> bool:
        return word not in view.covered and norms[word].isalpha() and norms[word] not in function

    if any(unknown(word) for word in range(view.clause.start, condition.start)):
        return True
    after = condition.end
    if after < view.clause.end and not view.words.breaks[after] and unknown(after) and not condition.is_noun:
        return True
    return sum(unknown(word) for word in range(condition.end, view.clause.end)) > 3


def _polarity(
    view: ClauseView, condition: ConditionHit, meaning: Judgement, turning: tuple[CueHit, ...]
) -> Polarity | None:
    negated = len(turning) % 2 == 1
    if meaning.only_negated and not negated:
        return None
    if meaning.polarity in ("good", "noted"):
        if negated and meaning.polarity == "noted":
            return None
        return "bad" if negated else "good"
    if meaning.polarity == "bad":
        return "good" if negated else "bad"
    if meaning.polarity == "unwanted":
        if negated:
            return "good"
        return "bad" if _is_affirmed(view, condition) else None
    if meaning.polarity == "wanted":
        if negated:
            return "bad"
        itself = any(
            term.start <= condition.start and condition.end <= term.end and term.subjects[0].kind != "check"
            for term in view.terms
        )
        return "good" if not itself and _is_present(view, condition) else None
    return None


def _is_present(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether the remark says that a thing is there: "there's", "has", "some"."""
    return any(
        0 <= condition.start - cue.end <= 3 and not _between_breaks(view, cue.end, condition.start)
        for cue in view.reach.of_kind("present")
    )


def _between_breaks(view: ClauseView, start: int, end: int) -> bool:
    return any(view.words.breaks[word] for word in range(start, end + 1) if word < view.clause.end)


def _is_affirmed(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether an unwanted thing is said to be there (or perhaps there), not only named."""
    if _is_present(view, condition) or view.reach.of_kind("hedge"):
        return True
    before = view.words.norms[condition.start - 1] if condition.start > view.clause.start else ""
    if before in ("the", "any", "for", "about", "check", "of"):
        return False
    deciding = [
        other
        for other in view.conditions
        if other is not condition and any(m.polarity in ("good", "bad") for m in other.meanings)
    ]
    if any(other.end == condition.start and _is_bad(other) for other in deciding):
        return True
    if deciding:
        return False
    return condition.end in view.marks.links and condition.end < view.clause.end


def _is_bad(condition: ConditionHit) -> bool:
    return any(meaning.polarity == "bad" for meaning in condition.meanings)


def _because(
    view: ClauseView,
    condition: ConditionHit,
    choice: Choice,
    turning: tuple[CueHit, ...],
    carried: bool,
) -> str:
    parts = []
    if choice.via is not None and choice.via.end > choice.via.start:
        how = "carried over" if carried else choice.via.how
        parts.append(f"{view.cite(choice.via.start, choice.via.end)} ({how})")
    elif carried:
        parts.append("subject carried over")
    parts.append(f"{view.cite(condition.start, condition.end)} ({choice.meaning.polarity})")
    parts += [f"{view.cite(cue.start, cue.end)} (negation)" for cue in turning]
    return " + ".join(parts)


# --- measurements -------------------------------------------------------------------------------


def _overruled(view: ClauseView, item: Found, measured: list[Found]) -> bool:
    """Whether a word gives way to the limit's verdict on a value: a good one that only led to it, or
    a noun that only named what was measured ("eight microns of | runout")."""
    verdicts = {
        other.reading.verdict
        for other in measured
        if other.choice.check == item.choice.check and other.reading is not None
    }
    if item.condition is None or not verdicts - {"no_limit"}:
        return False
    if item.choice.meaning.polarity in ("unwanted", "wanted"):
        return item.polarity == "bad"
    return "outside" in verdicts and _leads_to_value(view, item.condition)


def _measurements(view: ClauseView, context: Context, found: list[Found]) -> list[Found]:
    results = []
    for quantity in view.quantities:
        if _is_base(view, quantity):
            continue
        choice = _measured_check(view, context, quantity, found)
        if choice is None:
            continue
        check = view.lexicon.checks[choice.check]
        norms = view.words.norms[view.clause.start : view.clause.end]
        matched = limit_for(check, quantity, norms)
        if matched is None:
            continue
        reading = judge(*matched)
        if reading.verdict == "no_limit":
            polarity: Polarity = "named"
        else:
            polarity = "good" if reading.verdict == "within" else "bad"
        said = [
            f
            for f in found
            if f.choice.check == choice.check
            and not (f.condition is not None and _leads_to_value(view, f.condition))
            and not (f.polarity == "bad" and f.choice.meaning.polarity in ("unwanted", "wanted"))
        ]
        if said:
            polarity = "bad" if any(f.polarity == "bad" for f in said) else "good"
        why = f"{view.cite(quantity.start, quantity.end)} (reading, {reading.verdict.replace('_', ' ')}"
        why += f", {reading.limit})" if reading.limit else ")"
        if choice.via is not None and choice.via.end > choice.via.start:
            why = f"{view.cite(choice.via.start, choice.via.end)} + {why}"
        if quantity.doubtful:
            why += f"; {quantity.doubtful}"
        certainty = 0.95 * (CERTAINTY[choice.via.how] if choice.via else _CARRIED)
        results.append(Found(choice, polarity, None, certainty, why, reading))
    return results


def _is_base(view: ClauseView, quantity: Quantity) -> bool:
    """ "Four microns over two hundred millimetres": the second is the length it was measured over."""
    before = view.words.norms[quantity.start - 1] if quantity.start > view.clause.start else ""
    if quantity.comparator != ">" and before not in _BASE_LINKS:
        return False
    return any(
        other.dimension == quantity.dimension and other.end <= quantity.start for other in view.quantities
    )


def _measured_check(
    view: ClauseView, context: Context, quantity: Quantity, found: list[Found]
) -> Choice | None:
    before = view.words.norms[quantity.start - 1] if quantity.start > view.clause.start else ""
    judged = {f.choice.check for f in found}
    circumstance = before in _CIRCUMSTANCE and bool(judged)
    norms = view.words.norms[view.clause.start : view.clause.end]
    named = {
        meaning.owner
        for condition in view.conditions
        for meaning in condition.meanings
    }
    from voicenotes.language.lexicon import Judgement as Said

    options: list[Choice] = []
    sources = [(term, 0.0) for term in view.terms]
    if not view.terms or all(s.kind == "machine" for t in view.terms for s in t.subjects):
        sources = [(term, -1.0) for term in context.terms]
        sources += [
            (replace(_ghost_at(quantity.start), subjects=(Subject("check", check),)), -1.0)
            for check in context.checks
        ]
    for term, penalty in sources:
        for subject in expand_subjects(view.lexicon, term.subjects):
            own = subject.kind == "check"
            ids = (subject.id,) if own else view.lexicon.by_part.get(subject.id, ())
            for check_id in ids:
                check = view.lexicon.checks[check_id]
                limit = limit_for(check, quantity, norms)
                if limit is None or (circumstance and check_id not in judged):
                    continue
                score = (6.0 if own else 5.0) + penalty
                score += 1.0 if limit[0].words else 0.0
                score += 0.5 if named & {*check.aspects, check.id} else 0.0
                score += 0.4 if check_id in judged else 0.0
                score += 0.3 if check.station == context.station else 0.0
                score += 0.6 if _named_by_another(view, check, term) else 0.0
                options.append(Choice(check_id, Said(check_id, "noted"), score, term))
    if not options:
        return None
    top = max(option.score for option in options)
    best = {option.check: option for option in options if option.score > top - 0.05}
    return next(iter(best.values())) if len(best) == 1 else None


def _named_by_another(view: ClauseView, check: Check, term: TermHit) -> bool:
    """Whether a second thing named in the remark leads to the same check."""
    return any(
        subject.id == check.id or subject.id in check.parts
        for other in view.terms
        if other is not term
        for subject in expand_subjects(view.lexicon, other.subjects)
    )


def _ghost_at(word: int) -> TermHit:
    from voicenotes.language.hits import TermHit

    return TermHit(word, word, (), "exact", "")


# --- cues about speaker, time and doubt -----------------------------------------------------------


def _with_cues(view: ClauseView, found: list[Found]) -> list[Mention]:
    hedges = view.reach.of_kind("hedge")
    history = view.reach.of_kind("history")
    stated = _stated_severity(view)
    mentions = []
    for item in found:
        polarity, why = item.polarity, item.because
        basis: Basis = "measured" if item.reading is not None else "seen"
        told = _first(view.reach.wide, "hearsay")
        if told is not None:
            basis = "told"
            why += f"; {view.cite(told.start, told.end)} (hearsay)"
        silenced = _silenced(view, item) or (history[0] if history and item.reading is None else None)
        if silenced is not None:
            polarity = "named"
            why += f"; {view.cite(silenced.start, silenced.end)} ({silenced.kind.replace('_', ' ')})"
        elif hedges and polarity in ("good", "bad"):
            polarity = "unsure"
            why += f"; {view.cite(hedges[0].start, hedges[0].end)} (hedge)"
        severity = _severity(view, item, stated) if polarity == "bad" else None
        mentions.append(
            Mention(
                check=item.choice.check,
                polarity=polarity,
                basis=basis,
                confidence=item.confidence,
                why=why,
                severity=severity,
                stated=stated is not None,
                readings=(item.reading,) if item.reading else (),
            )
        )
    return mentions


def _first(cues: tuple[CueHit, ...], kind: str) -> CueHit | None:
    return next((cue for cue in cues if cue.kind == kind), None)


def _silenced(view: ClauseView, item: Found) -> CueHit | None:
    """The plan or general talk that keeps a condition from counting."""
    for cue in view.reach.wide:
        if cue.kind == "general":
            return cue
        if cue.kind == "plan":
            at = item.condition.start if item.condition else view.clause.start
            if cue.start < at or item.condition is None:
                return cue
    return None


def _stated_severity(view: ClauseView) -> Severity | None:
    for cue in view.reach.of_kind("class_critical", "class_major", "class_minor"):
        return cue.kind.removeprefix("class_")  # type: ignore[return-value]
    return None


def _severity(view: ClauseView, item: Found, stated: Severity | None) -> Severity:
    if stated is not None:
        return stated
    check = view.lexicon.checks[item.choice.check]
    if item.reading is not None:
        over = [limit.severity for limit in check.readings if limit.quantity == item.reading.quantity]
        return (over[0] if over else None) or check.severity
    usual: Severity = item.choice.meaning.severity or check.severity
    if item.condition is None:
        return usual
    step = 0
    for cue in view.reach.of_kind("softener"):
        if reaches_condition(cue, item.condition):
            step = -1
    return _SEVERITIES[max(0, min(2, _SEVERITIES.index(usual) + step))]


# --- remarks without a judgement ------------------------------------------------------------------


def _not_tested(view: ClauseView, context: Context, cue: CueHit) -> list[Mention]:
    why = f"{view.cite(cue.start, cue.end)} (not tested)"
    told = _first(view.reach.wide, "hearsay")
    checks = _spoken_of(view, context, cue)
    if not view.terms and not checks and not _names_other_things(view):
        checks = {check: "subject carried over" for check in context.checks}
    return [
        Mention(check, "not_tested", "told" if told else "seen", 0.9, f"{named} + {why}")
        for check, named in checks.items()
    ]


def _names_other_things(view: ClauseView) -> bool:
    function = morphology().function
    return any(
        word not in view.covered and view.words.norms[word].isalpha() and view.words.norms[word] not in function
        for word in range(view.clause.start, view.clause.end)
    )


def _meant_by(view: ClauseView, cue: CueHit) -> list[Group]:
    """The terms a cue without a judgement is about: those after it ("not sure about the belt"), else
    those before it; as lists in order of likelihood."""
    after = tuple(term for term in view.terms if term.start >= cue.start)
    pool = after or view.terms
    return groups_of(view.words, pool, view.conditions)


def _spoken_of(view: ClauseView, context: Context, cue: CueHit) -> dict[str, str]:
    """The checks that a remark without a judgement is about, each with the words that name it."""
    for terms in _meant_by(view, cue):
        named = _named_by(view, context, terms)
        if named:
            return named
    return {}


def _named_by(view: ClauseView, context: Context, terms: Group) -> dict[str, str]:
    meanings = tuple(meaning for condition in view.conditions for meaning in condition.meanings)
    specific = tuple(meaning for meaning in meanings if meaning.owner != GENERAL)
    named: dict[str, str] = {}
    for term in terms:
        words = f"{view.cite(term.start, term.end)} ({term.how})"
        others = tuple(other for other in view.terms if other is not term)
        own = [subject.id for subject in term.subjects if subject.kind == "check"]
        if len(own) == 1:
            named[own[0]] = words
            continue
        noted = tuple(replace(meaning, polarity="noted") for meaning in specific)
        aspects = frozenset(meaning.owner for meaning in specific)
        choices = choose_checks(view.lexicon, noted, (), term, others, aspects, context.station)
        if not choices:
            choices = _by_default(view, term, context)
        for choice in choices:
            named[choice.check] = words
    return named


def _by_default(view: ClauseView, term: TermHit, context: Context) -> list[Choice]:
    from voicenotes.language.lexicon import Judgement as Said

    others = tuple(other for other in view.terms if other is not term)
    general = (Said(GENERAL, "good"),)
    return choose_checks(view.lexicon, general, (), term, others, frozenset(), context.station)


def _only_named(view: ClauseView, judged: set[str], context: Context) -> list[Mention]:
    """Checks that are named and not judged: unsure under a hedge, else no more than named."""
    hedge = view.reach.of_kind("hedge")
    results = []
    if hedge and not judged:
        checks = _spoken_of(view, context, hedge[0])
    else:
        checks = {
            subject.id: f"{view.cite(term.start, term.end)} ({term.how})"
            for term in view.terms
            for subject in term.subjects
            if subject.kind == "check" and len([s for s in term.subjects if s.kind == "check"]) == 1
        }
    wide = next(iter(view.reach.wide), None)
    silent = next((cue for cue in view.reach.wide if cue.kind in ("plan", "general")), None)
    for check, words in checks.items():
        if check in judged:
            continue
        basis: Basis = "told" if wide is not None and wide.kind == "hearsay" else "seen"
        polarity: Polarity = "named"
        why = f"{words}; no judgement"
        if hedge and silent is None and not judged:
            polarity = "unsure"
            why = f"{words}; {view.cite(hedge[0].start, hedge[0].end)} (hedge)"
        elif silent is not None:
            why = f"{words}; {view.cite(silent.start, silent.end)} ({silent.kind})"
        results.append(Mention(check, polarity, basis, 0.9, why))
    return results


def merge(mentions: list[Mention]) -> list[Mention]:
    """One mention a check and remark: the worse judgement, with all readings and reasons."""
    order: list[Polarity] = ["bad", "unsure", "not_tested", "good", "not_fitted", "withdrawn", "named"]
    merged: dict[str, Mention] = {}
    for mention in mentions:
        known = merged.get(mention.check)
        if known is None:
            merged[mention.check] = mention
            continue
        worse, other = sorted((known, mention), key=lambda m: order.index(m.polarity))
        merged[mention.check] = replace(
            worse,
            basis="told" if "told" in (known.basis, mention.basis) else
            "measured" if "measured" in (known.basis, mention.basis) else "seen",
            confidence=max(worse.confidence, other.confidence),
            why=worse.why if other.why in worse.why else f"{worse.why}; {other.why}",
            readings=known.readings + mention.readings,
            severity=worst_severity(known.severity, mention.severity),
            stated=known.stated or mention.stated,
        )
    return list(merged.values())


def worst_severity(first: Severity | None, second: Severity | None) -> Severity | None:
    """The graver of two severities."""
    there = [severity for severity in (first, second) if severity is not None]
    return max(there, key=_SEVERITIES.index) if there else None
