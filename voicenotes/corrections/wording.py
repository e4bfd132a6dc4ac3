"""How corrections are worded, on the review page and in the report: a line each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.corrections.values import (
    Add,
    Confirm,
    Move,
    SetFact,
    SetFitting,
    SetOutcome,
    SetSeverity,
    SettleGap,
    SetWording,
    Tag,
    Undo,
    Words,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from voicenotes.corrections.values import Correction, Measured, OfCheck
    from voicenotes.model import Outcome, Severity
    from voicenotes.vocabulary.schema import Pack

OUTCOMES: dict[Outcome, str] = {
    "ok": "In order",
    "defect": "Defect",
    "unsure": "Unsure",
    "not_tested": "Not tested",
    "not_fitted": "Machine has none",
    "not_mentioned": "Not judged",
}
SAYS = {
    "good": "good",
    "bad": "bad",
    "unsure": "unsure",
    "not_tested": "not tested",
    "not_fitted": "not fitted",
    "named": "only named",
    "withdrawn": "taken back",
}
FITTED = {True: "The machine has it", False: "The machine has none", None: "Nobody said"}


def outcome_words(outcome: Outcome, severity: Severity | None) -> str:
    """ "Defect, critical"."""
    return f"{OUTCOMES[outcome]}, {severity}" if outcome == "defect" and severity else OUTCOMES[outcome]


def titles_of(pack: Pack) -> dict[str, str]:
    """What the pack calls its checks, facts and fittings, by id."""
    titles = {fitting.id: fitting.title for fitting in pack.head.fittings}
    titles |= {fact.id: fact.title for fact in pack.facts}
    return titles | {check.id: check.title for check in pack.checks}


def said_of(correction: Correction, titles: Mapping[str, str], by_id: Mapping[str, Correction]) -> str:
    """What a correction says, in a line. `titles` are those of checks, facts and fittings."""
    what = correction.what
    if isinstance(what, Undo):
        undone = by_id.get(what.undoes)
        if undone is None:
            return "Undone"
        if isinstance(undone.what, Undo) and (first := by_id.get(undone.what.undoes)):
            return f"Redone: {said_of(first, titles, by_id)}"
        return f"Undone: {said_of(undone, titles, by_id)}"
    if isinstance(what, Move):
        to = titles.get(what.to, what.to) if what.to else "no check"
        return f"“{what.remark.quote}” moved from {titles.get(what.check, what.check)} to {to}"
    if isinstance(what, Tag):
        return f"“{what.remark.quote}” says of {titles.get(what.check, what.check)}: {SAYS[what.says]}"
    if isinstance(what, Words):
        changes = "; ".join(f"“{change.heard}” is “{change.said}”" for change in what.changes)
        return f"Words put right: {changes}"
    if isinstance(what, Add):
        place = f"{titles.get(what.check, what.check)}: " if what.check else ""
        return f"{place}added “{what.title}”, {outcome_words(what.outcome, what.severity)}"
    if isinstance(what, SetFact):
        return f"{titles.get(what.fact, what.fact)}: {'no value' if what.value is None else what.value}"
    if isinstance(what, SetFitting):
        return f"{titles.get(what.fitting, what.fitting)}: {FITTED[what.fitted]}"
    return f"{titles.get(what.check, what.check)}: {said_of_check(what)}"


def said_of_check(what: OfCheck) -> str:
    """The same of a check, without its title: "set to in order"."""
    if isinstance(what, Confirm):
        return "confirmed"
    if isinstance(what, SetOutcome):
        return f"set to {outcome_words(what.outcome, what.severity).lower()}"
    if isinstance(what, SetSeverity):
        return f"severity {what.severity}"
    if isinstance(what, SetWording):
        return f"worded “{what.text}”"
    if isinstance(what, SettleGap):
        return f"may stay open: {what.reason}"
    if what.said is None:
        return f"no value {_value(what.heard)}"
    return f"value {_value(what.said)}" + (f", not {_value(what.heard)}" if what.heard else "")


def _value(measured: Measured | None) -> str:
    return f"{measured.value:g} {measured.unit}" if measured else ""
