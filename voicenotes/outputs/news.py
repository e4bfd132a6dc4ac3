"""What a record says that the one before it didn't, as lines of at most 80 characters."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.wording import length, number, quoted, table_line, wrapped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.model import CheckFinding, Record, RecordingEntry
    from voicenotes.vocabulary.schema import Pack

OUTCOMES = {
    "ok": "ok", "defect": "DEFECT", "unsure": "unsure", "not_tested": "not tested",
    "not_fitted": "not fitted", "not_mentioned": "open again",
}  # fmt: skip
UNCHANGED = "Nothing new was understood."


def news_lines(before: Record | None, after: Record, pack: Pack) -> list[str]:
    """New recordings with their problems, then checks, fittings and facts that are otherwise than before.

    With no record before, all that was understood.
    """
    lines = ["NEW" if before else "UNDERSTOOD SO FAR"]
    known = {entry.sha256 for entry in before.recordings} if before else set()
    for entry in after.recordings:
        if before is None or entry.sha256 not in known or entry.sha256 is None:
            lines += _recording(entry)
    for name in _gone(before, after):
        lines += wrapped(f"{name}: no longer there", "      ", first="  ")
    told = [*_checks(before, after), *_fittings(before, after, pack), *_facts(before, after, pack)]
    return [*lines, *(told or [f"  {UNCHANGED}"])]


def _recording(entry: RecordingEntry) -> list[str]:
    said = f"{entry.file} ({length(entry.seconds)}, {entry.words} words)"
    doubt = entry.quality.doubt if entry.quality else None
    troubles = [trouble for trouble in (entry.problem, doubt) if trouble]
    return wrapped(": ".join([said, "; ".join(troubles)]) if troubles else said, "      ", first="  ")


def _gone(before: Record | None, after: Record) -> list[str]:
    if before is None:
        return []
    files = {entry.file for entry in after.recordings}
    contents = {entry.sha256 for entry in after.recordings}
    return [e.file for e in before.recordings if e.file not in files and e.sha256 not in contents]


def _checks(before: Record | None, after: Record) -> Iterator[str]:
    were = {finding.id: finding for finding in before.checks} if before else {}
    for finding in after.checks:
        was = were.get(finding.id)
        old = (was.outcome, was.severity) if was else ("not_mentioned", None)
        if (finding.outcome, finding.severity) == old or _only_its_fitting(finding):
            continue
        outcome = OUTCOMES[finding.outcome] + (f" {finding.severity}" if finding.severity else "")
        yield from table_line("  ", finding.title, outcome)
        said = [e for e in finding.evidence if not was or e not in was.evidence]
        for evidence in said[-1:]:
            yield from wrapped(quoted(evidence.quote), "     ", first="    ")


def _only_its_fitting(finding: CheckFinding) -> bool:
    """Whether nothing was said of the check itself: the fitting's own line says it."""
    return finding.outcome in ("not_fitted", "not_mentioned") and not finding.evidence


def _fittings(before: Record | None, after: Record, pack: Pack) -> Iterator[str]:
    words = {True: "fitted", False: "not fitted", None: "fitted or not: open again"}
    for fitting in pack.head.fittings:
        found = after.fittings.get(fitting.id)
        known = before.fittings.get(fitting.id) if before else None
        if (found.fitted if found else None) != (known.fitted if known else None):
            yield from table_line("  ", fitting.title, words[found.fitted if found else None])


def _facts(before: Record | None, after: Record, pack: Pack) -> Iterator[str]:
    for fact in pack.facts:
        found = after.facts.get(fact.id)
        known = before.facts.get(fact.id) if before else None
        if found is None or (found.value, found.unit) == (
            known.value if known else None,
            known.unit if known else None,
        ):
            continue
        value = number(found.value) if isinstance(found.value, float) else f"{found.value}"
        said = "taken back" if found.value is None else f"{value} {found.unit or ''}".strip()
        yield from table_line("  ", fact.title, said)
