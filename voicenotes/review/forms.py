"""A form of the page as a correction."""

from __future__ import annotations

import difflib
from datetime import UTC, datetime
from typing import TYPE_CHECKING, get_args

from pydantic import ValidationError

from voicenotes.corrections.apply import standing
from voicenotes.corrections.refs import seen_of
from voicenotes.corrections.values import (
    Add,
    Confirm,
    Correction,
    Measured,
    Move,
    SetFact,
    SetFitting,
    SetOutcome,
    SetReading,
    SettleGap,
    SetWording,
    Tag,
    Undo,
    WordChange,
    Words,
)
from voicenotes.errors import PackError
from voicenotes.model import Outcome, Severity
from voicenotes.review.targets import check_targets, last_on, remark_key, state_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from voicenotes.corrections.values import RemarkRef, What
    from voicenotes.review.desk import View
    from voicenotes.vocabulary.schema import Pack

SEVERITIES: tuple[str, ...] = get_args(Severity)
OUTCOMES: tuple[str, ...] = get_args(Outcome)
SAYS = ("good", "bad", "unsure", "not_tested")


class FormError(Exception):
    """A form that says nothing that could be kept; the message is for the person who sent it."""


class StaleError(Exception):
    """What the form corrects was corrected meanwhile, in another tab or by another process."""


def correction_of(fields: Mapping[str, str], view: View, pack: Pack, who: str) -> Correction:
    """The correction that a form stands for. Raises FormError."""
    makers: dict[str, Callable[[Mapping[str, str], View, Pack], What]] = {
        "confirm": _confirm, "outcome": _outcome, "reading": _reading, "wording": _wording, "settle": _settle,
        "move": _move, "tag": _tag, "words": _words, "add": _add, "fact": _fact, "fitting": _fitting,
        "undo": _undo,
    }  # fmt: skip
    make = makers.get(fields.get("do", ""))
    if make is None:
        raise FormError("There is no such action.")
    try:
        what = make(fields, view, pack)
        return Correction(id=fields.get("once", ""), time=now(), who=who, what=what)
    except ValidationError as error:
        first = error.errors()[0]
        where = str(first["loc"][-1]) if first["loc"] else "form"
        raise FormError(f"Not kept: {where}: {first['msg']}.") from None


def now() -> str:
    """The time as corrections have it."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def guard_of(
    fields: Mapping[str, str], correction: Correction, view: View
) -> Callable[[Sequence[Correction]], None]:
    """Refuses the correction with StaleError where what it bears on was corrected since the form was made."""
    what = correction.what
    told = fields.get("state", "")
    if isinstance(what, Undo):
        undoes = what.undoes

        def still_active(known: Sequence[Correction]) -> None:
            if undoes not in {c.id for c in standing(known)}:
                raise StaleError

        return still_active
    if isinstance(what, Add):
        return lambda _: None
    targets = _targets(what, view)

    def unchanged(known: Sequence[Correction]) -> None:
        if state_of(last_on(known), targets) != told:
            raise StaleError

    return unchanged


def _targets(what: What, view: View) -> list[str]:
    if isinstance(what, Tag | Words):
        return [f"remark:{remark_key(what.remark)}"]
    if isinstance(what, SetFact):
        return [f"fact:{what.fact}"]
    if isinstance(what, SetFitting):
        return [f"fitting:{what.fitting}"]
    check = getattr(what, "check", None)
    return check_targets(view.before[check], view.remarks) if check in view.before else []


def _check(fields: Mapping[str, str], view: View, name: str = "check") -> str:
    check = fields.get(name, "")
    if not check:
        raise FormError("Choose a check.")
    if check not in view.before:
        raise FormError("There is no such check in this visit.")
    return check


def _remark(fields: Mapping[str, str], view: View) -> RemarkRef:
    remark = view.refs.get(fields.get("remark", ""))
    if remark is None:
        raise FormError("This remark is not in the record any more; load the page again.")
    return remark


def _confirm(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    check = _check(fields, view)
    return Confirm(check=check, seen=seen_of(view.before[check], view.remarks))


def _verdict(said: str) -> tuple[Outcome, Severity | None]:
    outcome, _, severity = said.partition(" ")
    if outcome not in OUTCOMES or (severity and (outcome != "defect" or severity not in SEVERITIES)):
        raise FormError("Choose an outcome.")
    return outcome, severity or None  # type: ignore[return-value]


def _outcome(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    check = _check(fields, view)
    outcome, severity = _verdict(fields.get("verdict", ""))
    seen = seen_of(view.before[check], view.remarks)
    return SetOutcome(check=check, outcome=outcome, severity=severity, seen=seen)


def _wording(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    check = _check(fields, view)
    text = _line(fields, "text", "Write how it is to be worded.")
    return SetWording(check=check, text=text, seen=seen_of(view.before[check], view.remarks))


def _settle(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    check = _check(fields, view)
    if check not in view.gaps:
        raise FormError("This check is not open.")
    reason = _line(fields, "reason", "Say why it may stay open.")
    return SettleGap(check=check, reason=reason, seen=seen_of(view.before[check], view.remarks))


def _line(fields: Mapping[str, str], name: str, missing: str) -> str:
    text = " ".join(fields.get(name, "").split())
    if not text:
        raise FormError(missing)
    return text


def _measured(text: str) -> Measured | None:
    from voicenotes.language.units import parse_quantity_text

    if not text.strip():
        return None
    try:
        value, unit = parse_quantity_text(text)
    except PackError:
        raise FormError(f"“{text}” is no value with a unit: write it like 3 um or 0.0002 in.") from None
    return Measured(value=value, unit=unit)


def _reading(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    check = _check(fields, view)
    heard, said = _measured(fields.get("heard", "")), _measured(fields.get("said", ""))
    if heard == said:
        raise FormError("Write the value that was measured.")
    return SetReading(check=check, heard=heard, said=said, seen=seen_of(view.before[check], view.remarks))


def _move(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    to = _check(fields, view, "to") if fields.get("to") else None
    check = _check(fields, view)
    if to == check:
        raise FormError("It stands there already; choose another check.")
    return Move(remark=_remark(fields, view), check=check, to=to)


def _tag(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    says, _, severity = fields.get("says", "").partition(" ")
    if says not in SAYS or (severity and severity not in SEVERITIES):
        raise FormError("Choose what the remark says.")
    how_bad = severity if says == "bad" and severity else None
    return Tag(remark=_remark(fields, view), check=_check(fields, view), says=says, severity=how_bad)  # type: ignore[arg-type]


def _words(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    remark = _remark(fields, view)
    changes = word_changes(remark.quote, fields.get("text", ""))
    if not changes:
        raise FormError("These are the words as they were heard. To take a correction back, use Undo.")
    return Words(remark=remark, changes=changes)


def word_changes(heard: str, said: str) -> tuple[WordChange, ...]:
    """The words that differ between what was heard and what was said."""
    old, new = heard.split(), said.split()
    parts = difflib.SequenceMatcher(a=old, b=new, autojunk=False).get_opcodes()
    return tuple(
        WordChange(at=i1, heard=" ".join(old[i1:i2]), said=" ".join(new[j1:j2]))
        for kind, i1, i2, j1, j2 in parts
        if kind != "equal"
    )


def _add(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    outcome, severity = _verdict(fields.get("verdict", "defect"))
    if outcome not in ("defect", "ok"):
        raise FormError("A finding that is added is a defect, or in order.")
    check = _check(fields, view) if fields.get("check") else None
    station = check.split(".")[0] if check else fields.get("station") or None
    if station is not None and station not in view.stations:
        raise FormError("There is no such place.")
    photos = tuple(name for name in fields.get("photos", "").split(",") if name)
    return Add(
        title=_line(fields, "title", "Say what was found."), check=check, station=station, outcome=outcome,
        severity=severity, photos=photos,
    )  # fmt: skip


def _fact(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    known = {fact.id: fact for fact in pack.facts}
    fact = known.get(fields.get("fact", ""))
    if fact is None or fact.id not in view.record.facts:
        raise FormError("There is no such fact.")
    text = " ".join(fields.get("value", "").split())
    value: str | int | float | None = text or None
    if text and fact.kind in ("number", "quantity"):
        try:
            value = float(text.replace(",", ""))
        except ValueError:
            raise FormError(f"{fact.title} is a number{' in ' + fact.unit if fact.unit else ''}.") from None
        value = int(value) if value == int(value) else value
    was = view.record.facts[fact.id].value
    return SetFact(fact=fact.id, value=value, unit=fact.unit if value is not None else None, was=was)


def _fitting(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    name = fields.get("fitting", "")
    if name not in view.record.fittings:
        raise FormError("There is no such fitting.")
    said = {"yes": True, "no": False, "unknown": None}
    if fields.get("fitted") not in said:
        raise FormError("Say whether the machine has it.")
    return SetFitting(fitting=name, fitted=said[fields["fitted"]], was=view.record.fittings[name].fitted)


def _undo(fields: Mapping[str, str], view: View, pack: Pack) -> What:
    undoes = fields.get("id", "")
    if undoes not in view.by_id:
        raise FormError("There is no such correction.")
    return Undo(undoes=undoes)


def renewed(correction: Correction, view: View, once: str, who: str) -> Correction | None:
    """A correction that could not be applied, said again of what is there now; None where it can't be."""
    what = correction.what
    decision = next((d for d in view.now.to_decide if d.correction.id == correction.id), None)
    if decision is None:
        return None
    if isinstance(what, Move | Tag | Words):
        if decision.instead is None or isinstance(what, Words):
            return None
        what = what.model_copy(update={"remark": decision.instead})
    elif isinstance(what, SetFact):
        if what.fact not in view.record.facts:
            return None
        what = what.model_copy(update={"was": view.record.facts[what.fact].value})
    elif isinstance(what, SetFitting):
        if what.fitting not in view.record.fittings:
            return None
        what = what.model_copy(update={"was": view.record.fittings[what.fitting].fitted})
    elif isinstance(what, Add | Undo) or what.check not in view.before:
        return None
    else:
        seen = seen_of(view.before[what.check], view.remarks)
        what = what.model_copy(update={"seen": seen})
    return Correction(id=once, time=now(), who=who, what=what)
