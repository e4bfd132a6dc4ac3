"""The gap list as lines to print or save: what to ask, what to check, where, how long, and why."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

from voicenotes.outputs.wording import count, minutes, table_line, verdict_lines, wrapped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import CheckFinding, Record
    from voicenotes.vocabulary.schema import Fitting, Pack

MUST = "must"
NEVER = "never mentioned"


@dataclass(frozen=True)
class OpenCheck:
    """A gap together with what the record says of its check."""

    finding: CheckFinding
    why: str


def open_checks(record: Record) -> list[OpenCheck]:
    """The record's gaps in walking order."""
    findings = {finding.id: finding for finding in record.checks}
    return [OpenCheck(findings[gap.id], gap.why) for gap in record.gaps if gap.id in findings]


def gap_lines(record: Record, pack: Pack, only_must: bool = False) -> list[str]:
    """The gap list, at most 80 characters a line, in walking order.

    First what to ask about fittings nobody spoke of, then each station with its cautions and its open
    checks; the last line says whether he can leave. `only_must` keeps to what must be settled before.
    """
    gaps = [gap for gap in open_checks(record) if gap.finding.must_before_leaving or not only_must]
    if not gaps:
        return [leaving_line(record)]
    lines = [f"Still open{' before leaving' if only_must else ''}: {_sum(gaps)}."]
    if not only_must:
        lines.append(f'"{MUST}" = to be settled before leaving.')
    lines += _questions(record, pack, gaps)
    titles = {station.id: station.title for station in pack.head.stations}
    for station, group in groupby(gaps, key=lambda gap: gap.finding.station):
        lines += ["", *_station_lines(pack, station, titles.get(station, station), list(group))]
    lines += ["", *(line for caution in pack.head.cautions for line in wrapped(caution, "  ", first="- "))]
    return [*lines, "", *verdict_lines(leaving_line(record))]


def leaving_line(record: Record) -> str:
    """Whether he can leave, in one line."""
    must = [gap for gap in open_checks(record) if gap.finding.must_before_leaving]
    if not must:
        return "Nothing that must be settled before leaving is open."
    perhaps = sum(gap.finding.applies is None for gap in must)
    only_if = ""
    if perhaps:
        only_if = " (only if fitted)" if perhaps == len(must) else f" ({perhaps} of them only if fitted)"
    time = minutes(sum(gap.finding.minutes for gap in must))
    return f"{count(len(must), 'check')} must still be settled before leaving, about {time}{only_if}."


def gap_data(record: Record, pack: Pack, only_must: bool = False) -> dict[str, Any]:
    """The gap list for programs: questions about fittings, gaps in walking order, sums."""
    gaps = [gap for gap in open_checks(record) if gap.finding.must_before_leaving or not only_must]
    must = [gap for gap in gaps if gap.finding.must_before_leaving]
    return {
        "pack": record.pack.model_dump(),
        "fittings_to_ask": [fitting.id for fitting, _ in _unknown_fittings(record, pack, gaps)],
        "gaps": [
            {
                **gap.finding.model_dump(include={"id", "station", "title", "applies", "outcome", "minutes"}),
                "must_before_leaving": gap.finding.must_before_leaving,
                "why": gap.why,
            }
            for gap in gaps
        ],
        "minutes": sum(gap.finding.minutes for gap in gaps),
        "must_before_leaving": len(must),
        "must_before_leaving_minutes": sum(gap.finding.minutes for gap in must),
    }


def _sum(gaps: Sequence[OpenCheck]) -> str:
    return f"{count(len(gaps), 'check')}, about {minutes(sum(gap.finding.minutes for gap in gaps))}"


def _unknown_fittings(
    record: Record, pack: Pack, gaps: Sequence[OpenCheck]
) -> list[tuple[Fitting, list[OpenCheck]]]:
    """Fittings of which nobody said whether they are there, with their open checks."""
    needs = {check.id: check.fitting for check in pack.checks}
    found = []
    for fitting in pack.head.fittings:
        known = record.fittings.get(fitting.id)
        waiting = [gap for gap in gaps if needs.get(gap.finding.id) == fitting.id]
        if waiting and (known is None or known.fitted is None):
            found.append((fitting, waiting))
    return found


def _questions(record: Record, pack: Pack, gaps: Sequence[OpenCheck]) -> list[str]:
    unknown = _unknown_fittings(record, pack, gaps)
    if not unknown:
        return []
    lines = ["", "First say which of these the machine has; what it lacks drops out:"]
    for fitting, waiting in unknown:
        lines += table_line("  ", f"{fitting.title} fitted?{_told(record, fitting.id)}", _sum(waiting))
    return lines


def _told(record: Record, fitting: str) -> str:
    known = record.fittings.get(fitting)
    return " (only told)" if known and any(e.basis == "told" for e in known.evidence) else ""


def _station_lines(pack: Pack, station: str, title: str, gaps: Sequence[OpenCheck]) -> list[str]:
    perhaps = all(gap.finding.applies is None for gap in gaps)
    time = minutes(sum(gap.finding.minutes for gap in gaps))
    lines = table_line("", title.upper() + (" (if fitted)" if perhaps else ""), time)
    cautions = [text for place in pack.head.stations if place.id == station for text in place.cautions]
    lines += [line for caution in cautions for line in wrapped(caution, "  ", first="  Caution: ")]
    of_checks = {check.id: check.caution for check in pack.checks if check.caution not in cautions}
    for gap in gaps:
        lines += _gap_lines(gap, of_checks.get(gap.finding.id), if_fitted=not perhaps)
    return lines


def _gap_lines(gap: OpenCheck, caution: str | None, if_fitted: bool) -> list[str]:
    finding = gap.finding
    mark = f"  {MUST if finding.must_before_leaving else '':<5} "
    doubt = " (if fitted)" if if_fitted and finding.applies is None else ""
    silent = gap.why == NEVER
    right = f"{NEVER if silent else ''}{minutes(finding.minutes):>8}"
    lines = table_line(mark, finding.title + doubt, right)
    indent = " " * 10
    if not silent:
        lines += wrapped(gap.why, indent)
    if caution:
        lines += wrapped(f"Caution: {caution}", indent)
    return lines
