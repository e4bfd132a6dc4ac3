"""What tests of corrections share: a record of a few sentences, and corrections of it in short."""

from __future__ import annotations

from itertools import count

from voicenotes.corrections.refs import remarks_of, seen_of
from voicenotes.corrections.values import (
    Add,
    Confirm,
    Correction,
    Measured,
    Move,
    RemarkRef,
    SetFact,
    SetFitting,
    SetOutcome,
    SetReading,
    SetSeverity,
    SettleGap,
    SetWording,
    Tag,
    Undo,
    What,
    WordChange,
    Words,
)
from voicenotes.findings.read import read_texts
from voicenotes.model import Outcome, Record, Severity
from voicenotes.vocabulary.schema import Pack

SAID = (
    "spindle growls. tails talk quill is stuck. spindle runout is two thou. it smells in here.",
    "coolant tank is dry. a leak at the coolant tank. the seller says the headstock temperature is cool. "
    "the serial number is four one.",
)
_numbers = count(1)


def record_of(pack: Pack, said: tuple[str, ...] = SAID) -> Record:
    """The record of some texts, each recording with a hash of its own."""
    record = read_texts(said, pack)
    recordings = tuple(
        entry.model_copy(update={"sha256": f"{number:064x}"})
        for number, entry in enumerate(record.recordings)
    )
    return record.model_copy(update={"recordings": recordings})


def remark(record: Record, words: str) -> RemarkRef:
    """The one remark that has these words in it."""
    remarks = remarks_of(record)
    [(name, start, end)] = [place for place, quote in remarks.quotes.items() if words in quote]
    return RemarkRef(
        sha256=remarks.hashes[name],
        recording=name,
        start=start,
        end=end,
        quote=remarks.quotes[name, start, end],
    )


def by(what: What, who: str = "Kim", minute: int | None = None) -> Correction:
    """A correction, one minute after the last one unless a minute is given."""
    number = next(_numbers)
    at = number if minute is None else minute
    time = f"2024-03-13T{8 + at // 60 % 12:02}:{at % 60:02}:00+00:00"
    return Correction(id=f"correction-{number:06d}", time=time, who=who, what=what)


def confirm(record: Record, check: str) -> Correction:
    return by(Confirm(check=check, seen=seen_of(record.check(check), remarks_of(record))))


def outcome(record: Record, check: str, to: Outcome, severity: Severity | None = None) -> Correction:
    seen = seen_of(record.check(check), remarks_of(record))
    return by(SetOutcome(check=check, outcome=to, severity=severity, seen=seen))


def severity(record: Record, check: str, to: Severity) -> Correction:
    return by(SetSeverity(check=check, severity=to, seen=seen_of(record.check(check), remarks_of(record))))


def wording(record: Record, check: str, text: str) -> Correction:
    return by(SetWording(check=check, text=text, seen=seen_of(record.check(check), remarks_of(record))))


def reading(
    record: Record, check: str, heard: tuple[float, str] | None, said: tuple[float, str] | None
) -> Correction:
    was = Measured(value=heard[0], unit=heard[1]) if heard else None
    now = Measured(value=said[0], unit=said[1]) if said else None
    seen = seen_of(record.check(check), remarks_of(record))
    return by(SetReading(check=check, heard=was, said=now, seen=seen))


def settle(record: Record, check: str, reason: str) -> Correction:
    return by(SettleGap(check=check, reason=reason, seen=seen_of(record.check(check), remarks_of(record))))


def move(record: Record, words: str, check: str, to: str | None) -> Correction:
    return by(Move(remark=remark(record, words), check=check, to=to))


def tag(record: Record, words: str, check: str, says: str, how_bad: Severity | None = None) -> Correction:
    return by(Tag(remark=remark(record, words), check=check, says=says, severity=how_bad))  # type: ignore[arg-type]


def words(record: Record, at: int, heard: str, said: str, of: str | None = None) -> Correction:
    change = WordChange(at=at, heard=heard, said=said)
    return by(Words(remark=remark(record, of or heard), changes=(change,)))


def add(
    title: str, check: str | None = None, how: str = "defect", how_bad: Severity | None = None
) -> Correction:
    return by(Add(title=title, check=check, outcome=how, severity=how_bad))  # type: ignore[arg-type]


def fact(name: str, value: str | None, was: str | None) -> Correction:
    return by(SetFact(fact=name, value=value, was=was))


def fitting(name: str, fitted: bool | None, was: bool | None) -> Correction:
    return by(SetFitting(fitting=name, fitted=fitted, was=was))


def undo(correction: Correction) -> Correction:
    return by(Undo(undoes=correction.id))
