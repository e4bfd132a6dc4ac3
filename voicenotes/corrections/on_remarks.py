"""Corrections of remarks: words put right, remarks moved to another check or to none, remarks tagged."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.corrections.moot import are_read_so, is_moved_so, is_tagged_so
from voicenotes.corrections.refs import place_of
from voicenotes.corrections.reread import changed_quote, read_alone
from voicenotes.corrections.settling import fits, judged
from voicenotes.corrections.values import Measured, Move, Tag, Words
from voicenotes.model import Evidence, Untagged

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.corrections.refs import Place
    from voicenotes.corrections.values import Correction, RemarkRef
    from voicenotes.corrections.workbench import Workbench
    from voicenotes.model import CheckFinding, FactFinding, FittingFinding, Reading


def apply_words(bench: Workbench, corrections: Sequence[Correction]) -> dict[Place, Correction]:
    """Put words right; of several corrections of one remark the last one counts. Gives those back."""
    last: dict[Place, Correction] = {}
    for correction in corrections:
        if isinstance(correction.what, Words) and not are_read_so(bench, correction.what):
            place = _found(bench, correction, correction.what.remark)
            if place:
                last[place] = correction
    done = {}
    for place, correction in last.items():
        quote = bench.remarks.quotes[place]
        now = changed_quote(quote, getattr(correction.what, "changes", ()))
        if now is None:
            bench.decide(correction, "the words to be put right don't stand there")
            continue
        done[place] = correction
        if now != quote:
            _put_right(bench, place, now, correction)
    return done


def _put_right(bench: Workbench, place: Place, now: str, correction: Correction) -> None:
    old, new = read_alone(bench.remarks.quotes[place], bench.pack), read_alone(now, bench.pack)
    bench.words[place] = now
    here = bench.checks_at(place)
    for check in dict.fromkeys((*here, *new.checks)):
        if check not in bench.findings:
            continue
        if _of_check(bench, check, place, old.checks.get(check), new.checks.get(check), check in here):
            bench.touch(check, correction)
    _facts(bench, place, old.facts, new.facts)
    _fittings(bench, place, old.fittings, new.fittings)
    _file_away(bench, place)


def _of_check(
    bench: Workbench,
    check: str,
    place: Place,
    old: CheckFinding | None,
    new: CheckFinding | None,
    had: bool,
) -> bool:
    """What other words change for one check; whether they touch it at all."""
    finding = bench.findings[check]
    others = [e for e in finding.evidence if place_of(e) != place]
    mine = [e for e in finding.evidence if place_of(e) == place]
    if new is not None and (old is None or _says(old) != _says(new)):
        bench.with_evidence(check, [*others, *(_placed(bench, e, place) for e in new.evidence)], new.severity)
    elif old is not None and new is None:
        if not had:
            return False
        bench.with_evidence(check, others)
    elif had:
        same = bench.before[check].severity
        bench.with_evidence(check, [*others, *(_requoted(bench, e, place) for e in mine)], same)
    else:
        return False
    before, after = (old.readings if old else ()), (new.readings if new else ())
    if before != after:
        left = [r for r in finding.readings if not any(_same(r, gone) for gone in before)]
        _set_readings(bench, check, [*left, *after])
    return True


def _says(finding: CheckFinding) -> set[tuple[str, str, str | None]]:
    return {(e.polarity, e.basis, finding.severity) for e in finding.evidence}


def _placed(bench: Workbench, evidence: Evidence, place: Place) -> Evidence:
    """Evidence from words read alone, at the place where they were said."""
    name, start, end = place
    return evidence.model_copy(
        update={"recording": name, "start": start, "end": end, "quote": bench.quote(place),
                "why": f"{evidence.why}; {_heard(bench, place)}"}
    )  # fmt: skip


def _requoted(bench: Workbench, evidence: Evidence, place: Place) -> Evidence:
    why = f"{evidence.why}; {_heard(bench, place)}"
    return evidence.model_copy(update={"quote": bench.quote(place), "why": why})


def _heard(bench: Workbench, place: Place) -> str:
    return f'heard as "{bench.remarks.quotes[place]}" and put right in the review'


def _facts(
    bench: Workbench, place: Place, old: Mapping[str, FactFinding], new: Mapping[str, FactFinding]
) -> None:
    for name in dict.fromkeys((*bench.facts, *new)):
        if name not in bench.facts:
            continue
        fact, was, now = bench.facts[name], old.get(name), new.get(name)
        others = tuple(e for e in fact.evidence if place_of(e) != place)
        mine = tuple(e for e in fact.evidence if place_of(e) == place)
        if now is not None and (was is None or (was.value, was.unit) != (now.value, now.unit)):
            evidence = (*others, *(_placed(bench, e, place) for e in now.evidence))
            bench.facts[name] = now.model_copy(update={"evidence": evidence})
        elif was is not None and now is None and mine:
            update = {"evidence": others} if others else {"evidence": (), "value": None, "unit": None}
            bench.facts[name] = fact.model_copy(update=update)
        elif mine:
            evidence = tuple(_requoted(bench, e, place) if e in mine else e for e in fact.evidence)
            bench.facts[name] = fact.model_copy(update={"evidence": evidence})


def _fittings(
    bench: Workbench, place: Place, old: Mapping[str, FittingFinding], new: Mapping[str, FittingFinding]
) -> None:
    for name in dict.fromkeys((*bench.fittings, *new)):
        if name not in bench.fittings:
            continue
        fitting, was, now = bench.fittings[name], old.get(name), new.get(name)
        others = tuple(e for e in fitting.evidence if place_of(e) != place)
        mine = tuple(e for e in fitting.evidence if place_of(e) == place)
        if now is not None and (was is None or was.fitted != now.fitted):
            evidence = (*others, *(_placed(bench, e, place) for e in now.evidence))
            bench.fittings[name] = now.model_copy(update={"evidence": evidence})
        elif was is not None and now is None and mine:
            fitted = fitting.fitted if others else None
            bench.fittings[name] = fitting.model_copy(update={"evidence": others, "fitted": fitted})
        elif mine:
            evidence = tuple(_requoted(bench, e, place) if e in mine else e for e in fitting.evidence)
            bench.fittings[name] = fitting.model_copy(update={"evidence": evidence})


def apply_moves_and_tags(bench: Workbench, corrections: Sequence[Correction]) -> None:
    """Move and tag remarks, in the order in which it was said."""
    for correction in corrections:
        if isinstance(correction.what, Move):
            _move(bench, correction, correction.what)
        elif isinstance(correction.what, Tag):
            _tag(bench, correction, correction.what)


def _move(bench: Workbench, correction: Correction, move: Move) -> None:
    if is_moved_so(bench, move):
        bench.touch(move.to or move.check, correction)
        return
    place = _found(bench, correction, move.remark)
    if place is None or not _known(bench, correction, move.check, move.to):
        return
    finding = bench.findings[move.check]
    mine = [e for e in finding.evidence if place_of(e) == place]
    if not mine:
        bench.decide(correction, "the remark doesn't speak of that check any more", move.remark)
        return
    others = [e for e in finding.evidence if place_of(e) != place]
    gone = _readings_of(bench, move.check, place, alone=not others)
    bench.with_evidence(move.check, others)
    bench.touch(move.check, correction)
    if gone:
        _set_readings(bench, move.check, [r for r in finding.readings if r not in gone])
    if move.to is not None and move.to != move.check:
        target, there = bench.of_pack[move.to], bench.findings[move.to]
        came = [e.model_copy(update={"why": f"{e.why}; moved here in the review"}) for e in mine]
        bench.with_evidence(move.to, [*(e for e in there.evidence if place_of(e) != place), *came])
        bench.touch(move.to, correction)
        readings = [again for reading in gone if (again := fits(target, reading))]
        _set_readings(bench, move.to, [*there.readings, *readings])
    _file_away(bench, place)


def _tag(bench: Workbench, correction: Correction, tag: Tag) -> None:
    if is_tagged_so(bench, tag):
        bench.touch(tag.check, correction)
        return
    place = _found(bench, correction, tag.remark)
    if place is None or not _known(bench, correction, tag.check):
        return
    name, start, end = place
    finding, readings = bench.findings[tag.check], _said_values(bench, tag.check, place)
    evidence = Evidence(
        recording=name, start=start, end=end, quote=bench.quote(place),
        basis="measured" if readings else "seen", polarity=tag.says, confidence=1.0,
        why=f"{correction.who} said in the review what it speaks of",
    )  # fmt: skip
    others = [e for e in finding.evidence if place_of(e) != place]
    bench.with_evidence(tag.check, [*others, evidence], tag.severity if tag.says == "bad" else None)
    _set_readings(bench, tag.check, [*finding.readings, *readings])
    bench.touch(tag.check, correction)
    bench.untagged.pop(place, None)


def _said_values(bench: Workbench, check: str, place: Place) -> list[Reading]:
    """Values in a remark that a check has a limit for."""
    from voicenotes.language.quantities import find_quantities

    words = bench.quote(place).lower()
    known = bench.findings[check].readings
    found = [
        judged(bench.of_pack[check], Measured(value=q.value, unit=q.unit), words)
        for q in find_quantities([word.strip(".,;:!?") for word in words.split()])
    ]
    return [r for r in found if r.limit is not None and not any(_same(r, k) for k in known)]


def _readings_of(bench: Workbench, check: str, place: Place, alone: bool) -> list[Reading]:
    """The readings of a check that one remark gave: all where it stands `alone`, else those read from it."""
    readings = bench.findings[check].readings
    if alone or not readings:
        return list(readings)
    said = [r for found in read_alone(bench.quote(place), bench.pack).checks.values() for r in found.readings]
    return [r for r in readings if any(_same(r, other) for other in said)]


def _same(one: Reading, other: Reading) -> bool:
    return (one.value, one.unit) == (other.value, other.unit)


def _set_readings(bench: Workbench, check: str, readings: Sequence[Reading]) -> None:
    distinct = tuple(dict.fromkeys(readings))
    bench.findings[check] = bench.findings[check].model_copy(update={"readings": distinct})


def _file_away(bench: Workbench, place: Place) -> None:
    """A remark that nothing holds is listed as untagged, and one that something holds is not."""
    name, start, end = place
    if bench.is_tagged(place):
        bench.untagged.pop(place, None)
    else:
        bench.untagged[place] = Untagged(recording=name, start=start, end=end, quote=bench.quote(place))


def _found(bench: Workbench, correction: Correction, remark: RemarkRef) -> Place | None:
    place = bench.remarks.place(remark)
    if place is None:
        instead = bench.remarks.at_its_place(remark)
        what = "is read otherwise now" if instead else "is not in the visit any more"
        bench.decide(correction, f'what was said there {what}: "{remark.quote}"', instead)
    return place


def _known(bench: Workbench, correction: Correction, *checks: str | None) -> bool:
    for check in checks:
        if check is not None and (check not in bench.findings or check not in bench.of_pack):
            bench.decide(correction, f"the pack has no check '{check}' any more")
            return False
    return True
