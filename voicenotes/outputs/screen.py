"""What a processed visit shows on the screen, as lines of at most 80 characters."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.gap_sheet import open_checks
from voicenotes.outputs.wording import (
    count,
    in_a_list,
    length,
    minutes,
    number,
    quoted,
    reading_line,
    table_line,
    verdict_lines,
    wrapped,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import CheckFinding, FactFinding, Polarity, Record
    from voicenotes.vocabulary.schema import Pack

MOST_QUOTES = 2
SEVERITIES = ("critical", "major", "minor")


def summary_lines(record: Record, pack: Pack) -> list[str]:
    """Findings by severity, praise against a limit, what is unsure or not tested, fittings, facts, gaps."""
    lines = _head(record, pack)
    for severity in SEVERITIES:
        lines += _section(severity.capitalize(), _of(record, "defect", severity), "bad")
    lines += _section("Said to be good, measured outside", against_limit(record), "good")
    lines += _section("Unsure", _of(record, "unsure"), "unsure")
    lines += _section("Not tested", _of(record, "not_tested"), "not_tested")
    lines += _fittings(record, pack)
    lines += _facts(record, pack)
    if record.untagged:
        lines += ["", f"Taken by no check, kept in the record: {count(len(record.untagged), 'remark')}."]
    if record.left_out:
        seconds = sum(left.end - left.start for left in record.left_out)
        pieces = f"{count(len(record.left_out), 'piece')}, {length(seconds)}"
        lines += ["", f"Written by the engine, not taken for speech, kept in the record: {pieces}."]
    return [*lines, "", *verdict_lines(settled_line(record))]


def settled_line(record: Record) -> str:
    """ "98 of 122 checks settled, 24 gaps (9 must be settled before leaving, about 20 min)."."""
    gaps = open_checks(record)
    applying = [f for f in record.checks if f.applies is not False and f.outcome != "not_fitted"]
    must = [gap.finding for gap in gaps if gap.finding.must_before_leaving]
    settled = f"{len(applying) - len(gaps)} of {count(len(applying), 'check')} settled"
    time = minutes(sum(finding.minutes for finding in must))
    pressing = f"{len(must) or 'none'} must be settled before leaving{f', about {time}' if must else ''}"
    return f"{settled}, {count(len(gaps), 'gap')}{f' ({pressing})' if gaps else ''}."


def problem_lines(record: Record) -> list[str]:
    """One line for each recording that has a problem."""
    return [f"{entry.file}: {entry.problem}" for entry in record.recordings if entry.problem]


def doubt_lines(record: Record) -> list[str]:
    """The recordings that were read but can't be trusted, each with the reason and what to do.

    Meant to be shown before anything else, while what was said in them can still be said again.
    """
    doubts = [
        (entry, entry.quality.doubt) for entry in record.recordings if entry.quality and entry.quality.doubt
    ]
    if not doubts:
        return []
    lines = [f"SAY AGAIN ({len(doubts)}): heard too badly to be trusted"]
    for entry, doubt in doubts:
        lines += wrapped(f"{entry.file} ({length(entry.seconds)}): {doubt}", "      ", first="  ")
    return [*lines, ""]


def unread(record: Record) -> list[str]:
    """The recordings of which not a single word was read."""
    return [entry.file for entry in record.recordings if not entry.words]


def _head(record: Record, pack: Pack) -> list[str]:
    talk = length(sum(entry.seconds for entry in record.recordings))
    words = count(sum(entry.words for entry in record.recordings), "word")
    return [f"{pack.head.title}: {count(len(record.recordings), 'recording')}, {talk}, {words}"]


def _of(record: Record, outcome: str, severity: str | None = None) -> list[CheckFinding]:
    return [f for f in record.checks if f.outcome == outcome and severity in (None, f.severity)]


def against_limit(record: Record) -> list[CheckFinding]:
    """The checks that were called good beside a value outside its limit: the word stands, but look again."""
    return [f for f in _of(record, "ok") if any(reading.verdict == "outside" for reading in f.readings)]


def _section(title: str, findings: Sequence[CheckFinding], polarity: Polarity) -> list[str]:
    if not findings:
        return []
    lines = ["", f"{title.upper()} ({len(findings)})"]
    for finding in findings:
        lines += finding_lines(finding, polarity)
    return lines


def finding_lines(finding: CheckFinding, polarity: Polarity) -> list[str]:
    """A finding: its title and id, its readings, and the words that made it so."""
    lines = table_line("  ", finding.title, finding.id)
    for reading in finding.readings:
        lines += wrapped(reading_line(reading), "      ", first="    ")
    deciding = [e for e in finding.evidence if e.polarity == polarity]
    for evidence in deciding:
        told = "told: " if evidence.basis == "told" else ""
        lines += wrapped(told + quoted(evidence.quote), "     ", first="    ")
    if polarity == "bad" and finding.readings and all(r.verdict == "within" for r in finding.readings):
        lines += wrapped("called bad although the reading is within its limit", "     ", first="    ")
    if finding.conflict:
        good = [quoted(e.quote) for e in finding.evidence if e.polarity == "good"]
        more = f" and {len(good) - MOST_QUOTES} more" if len(good) > MOST_QUOTES else ""
        said = ", ".join(good[:MOST_QUOTES])
        lines += wrapped(f"but also said good: {said}{more}", "     ", first="    ")
    return lines


def _fittings(record: Record, pack: Pack) -> list[str]:
    groups: dict[bool | None, list[str]] = {True: [], False: [], None: []}
    for fitting in pack.head.fittings:
        known = record.fittings.get(fitting.id)
        groups[known.fitted if known else None].append(in_a_list(fitting.title))
    lines = [""]
    for answer, words in ((True, "Fitted"), (False, "Not fitted"), (None, "Fitted or not, nobody said")):
        if groups[answer]:
            lines += wrapped(f"{words}: {', '.join(groups[answer])}", "  ", first="")
    return lines if len(lines) > 1 else []


def _facts(record: Record, pack: Pack) -> list[str]:
    titles = {fact.id: fact.title for fact in pack.facts}
    known = [(titles.get(name, name), fact) for name, fact in record.facts.items() if fact.value is not None]
    if not known:
        return []
    wide = max(len(title) for title, _ in known)
    lines = ["", "FACTS"]
    for title, fact in known:
        lines += wrapped(_value(fact), " " * (wide + 4), first=f"  {title:<{wide}}  ")
    return lines


def _value(fact: FactFinding) -> str:
    value = fact.value if isinstance(fact.value, (str, int)) else number(fact.value or 0.0)
    told = " (only told)" if fact.evidence and all(e.basis == "told" for e in fact.evidence) else ""
    return f"{value}{f' {fact.unit}' if fact.unit else ''}{told}"
