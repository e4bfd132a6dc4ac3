"""What cues about the speaker, the time and his doubts make of a judgement, and how bad a defect is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.exceptions import sweep_over
from voicenotes.language.grounds import Ground, of_cue
from voicenotes.language.mentions import Mention
from voicenotes.language.scope import first_cue, reaches_condition
from voicenotes.language.severity import one_milder, stated_severity

if TYPE_CHECKING:
    from voicenotes.language.clause_view import ClauseView, Found
    from voicenotes.language.hits import CueHit
    from voicenotes.language.severity import SeverityFrom
    from voicenotes.model import Basis, Severity

_INDEFINITE = frozenset({"a", "an", "any"})
_HABIT = frozenset({"will", "would", "can", "should", "always", "often", "usually", "never"})
_ALL_SUCH = frozenset({"these", "those", "most", "many"})
_HABIT_OF_ALL = frozenset({"always", "often", "usually", "never", "all", "tend"})
_AND = frozenset({"and", "but", "so"})
_RELATIVE = frozenset({"which", "who", "whose", "that"})
_WORDS_BEFORE_THING = 3


def with_cues(view: ClauseView, found: list[Found]) -> list[Mention]:
    """What was judged, as hedged, told, planned or past as the remark makes it, with severities."""
    hedges = view.reach.of_kind("hedge")
    history = view.reach.of_kind("history")
    stated = stated_severity(view.reach)
    mentions = []
    for item in found:
        polarity, why = item.polarity, item.because
        grounds = list(item.grounds)
        basis: Basis = "measured" if item.reading is not None else "seen"
        told = first_cue(view.reach.wide, "hearsay")
        if told is not None:
            basis = "told"
            why += f"; {view.cite(told.start, told.end)} (hearsay)"
            grounds.append(of_cue(told))
        silenced = _silenced(view, item) or sweep_over(view, item) or _past(view, history, item)
        if silenced is not None:
            polarity = "named"
            why += f"; {view.cite(silenced.start, silenced.end)} ({silenced.kind.replace('_', ' ')})"
            grounds.append(of_cue(silenced))
        elif is_generic(view):
            polarity = "named"
            why += f"; {view.cite(view.clause.start, view.terms[0].end + 1)} (any such thing)"
            grounds.append(Ground("cue", view.clause.start, view.terms[0].end + 1, "any such thing"))
        elif hedges and polarity in ("good", "bad"):
            polarity = "unsure"
            why += f"; {view.cite(hedges[0].start, hedges[0].end)} (hedge)"
            grounds.append(of_cue(hedges[0]))
        severity, source, cue = _severity(view, item, stated) if polarity == "bad" else (None, None, None)
        if cue is not None:
            grounds.append(of_cue(cue))
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
                severity_from=source,
                grounds=tuple(grounds),
                by_limit=item.by_limit,
            )
        )
    return mentions


def _silenced(view: ClauseView, item: Found) -> CueHit | None:
    """The plan or general talk that keeps a condition from counting."""
    at = item.condition.start if item.condition else view.clause.start
    for cue in view.reach.of_kind("comparison"):
        between = range(cue.end, at + 1)
        if cue.end <= at and not any(
            view.words.breaks[word] and view.words.norms[word] not in _RELATIVE for word in between
        ):
            return cue
    for cue in view.reach.wide:
        if cue.kind == "general" and (cue.use.reach != "forward" or cue.start < at):
            return cue
        if cue.kind == "plan" and (cue.start < at or item.condition is None):
            return cue
    return None


def _past(view: ClauseView, history: tuple[CueHit, ...], item: Found) -> CueHit | None:
    """The cue that makes a judgement one of the past; not where an "and" leads on to today: "it was
    replaced last year and | runs quiet"."""
    if item.reading is not None:
        return None
    for cue in history:
        condition = item.condition
        if condition is None or condition.start < cue.end:
            return cue
        between = range(cue.end, condition.start)
        if not any(view.words.norms[word] in _AND or view.words.breaks[word] for word in between):
            return cue
    return None


def is_generic(view: ClauseView) -> bool:
    """ "A bad bearing will growl", "conveyors jam if you leave them": any such thing, and what it does."""
    start = view.clause.start
    if any(cue.kind == "general" and cue.use.reach == "forward" for cue in view.reach.own):
        plural = view.words.norms[view.terms[0].end - 1].endswith("s") if view.terms else False
        if plural and view.terms[0].start == start and view.terms[0].how == "inflected":
            return True
    first = view.words.norms[start]
    habits = _HABIT if first in _INDEFINITE else _HABIT_OF_ALL if first in _ALL_SUCH else frozenset()
    if not habits or not view.terms:
        return False
    term = view.terms[0]
    if term.start - start > _WORDS_BEFORE_THING or term.end >= view.clause.end:
        return False
    return view.words.norms[term.end] in habits


def _severity(
    view: ClauseView, item: Found, stated: tuple[Severity, CueHit] | None
) -> tuple[Severity, SeverityFrom, CueHit | None]:
    """A defect's severity, where it was taken from, and the cue that stated or softened it."""
    if stated is not None:
        return stated[0], "stated", stated[1]
    check = view.lexicon.checks[item.choice.check]
    if item.reading is not None:
        over = [limit.severity for limit in check.readings if limit.quantity == item.reading.quantity]
        own = over[0] if over else None
        return own or check.severity, "limit" if own else "check", None
    own = item.choice.meaning.severity
    usual: Severity = own or check.severity
    source: SeverityFrom = "condition" if own else "check"
    if item.condition is None:
        return usual, source, None
    condition = item.condition
    softeners = view.reach.of_kind("softener")
    softened = next((cue for cue in softeners if reaches_condition(cue, condition)), None)
    return one_milder(usual) if softened is not None else usual, source, softened
