"""Judges by spoken measurements: which check a value belongs to, and what its limit says."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.choose_check import Choice, expand_subjects
from voicenotes.language.clause_view import CERTAINTY_CARRIED, Found
from voicenotes.language.conditions import leads_to_value
from voicenotes.language.grounds import of_quantity, of_term
from voicenotes.language.lexicon import CERTAINTY, Judgement
from voicenotes.language.limits import judge, limit_for

if TYPE_CHECKING:
    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.hits import TermHit
    from voicenotes.language.quantities import Quantity
    from voicenotes.model import Polarity
    from voicenotes.vocabulary.schema import Check

_BASE_LINKS = frozenset(["over", "across", "along", "per", "in", "at", "for", "on"])
_CIRCUMSTANCE = frozenset(
    {"at", "above", "below", "over", "under", "past", "from", "after", "beyond", "until", "around",
     "for", "every"}
)  # fmt: skip


def measurements(view: ClauseView, context: Context, found: list[Found]) -> list[Found]:
    """The checks that the values of a remark judge; `found` is what its conditions judged."""
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
            and not _only_leads(view, f)
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
        certainty = 0.95 * (CERTAINTY[choice.via.how] if choice.via else CERTAINTY_CARRIED)
        via = () if choice.via is None else (of_term(choice.via, choice.via not in view.terms),)
        grounds = (*via, of_quantity(quantity))
        results.append(Found(choice, polarity, None, certainty, why, reading, grounds))
    return results


def overruled(view: ClauseView, item: Found, measured: list[Found]) -> bool:
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
    return "outside" in verdicts and _only_leads(view, item)


def _only_leads(view: ClauseView, item: Found) -> bool:
    """Whether a good word said nothing but that a value follows."""
    return (
        item.condition is not None
        and item.polarity == "good"
        and item.choice.meaning.polarity == "good"
        and leads_to_value(view, item.condition)
    )


def _is_base(view: ClauseView, quantity: Quantity) -> bool:
    """ "Four microns over two hundred millimetres": the second is the length it was measured over."""
    before = view.word_before(quantity.start)
    if quantity.comparator != ">" and before not in _BASE_LINKS:
        return False
    return any(
        other.dimension == quantity.dimension and other.end <= quantity.start for other in view.quantities
    )


def _measured_check(
    view: ClauseView, context: Context, quantity: Quantity, found: list[Found]
) -> Choice | None:
    before = view.word_before(quantity.start)
    judged = {f.choice.check for f in found}
    circumstance = before in _CIRCUMSTANCE and bool(judged)
    norms = view.words.norms[view.clause.start : view.clause.end]
    named = {meaning.owner for condition in view.conditions for meaning in condition.meanings}
    options: list[Choice] = []
    sources = [(term, 0.0) for term in view.terms]
    if not view.terms or all(s.kind == "machine" for t in view.terms for s in t.subjects):
        sources = [(term, -1.0) for term in context.terms]
        sources += [(judged_check, -1.0) for judged_check in context.judged_before(quantity.start)]
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
                options.append(Choice(check_id, Judgement(check_id, "noted"), score, term))
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
