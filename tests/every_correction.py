"""For any record one correction of each kind, and what a reader of its report has to see of them."""

from __future__ import annotations

from dataclasses import dataclass

from correcting import add, by, confirm, fitting, outcome, reading, settle, severity, undo, wording

from voicenotes.corrections.refs import all_said, remarks_of, seen_of
from voicenotes.corrections.values import Add, Confirm, Correction, Move, SetFact, Tag, WordChange, Words
from voicenotes.model import CheckFinding, Evidence, Record, Untagged

PHOTOS = ("photo-00000000000000aa.png", "photo-00000000000000bb.png")
REVIEWER = "Robin Quill"


@dataclass(frozen=True)
class Corrected:
    """Corrections in order, the checks that they are of by kind, and the texts that a report must have."""

    corrections: tuple[Correction, ...]
    checks: dict[str, str]
    texts: tuple[str, ...]


def every_correction(record: Record) -> Corrected:
    """Corrections of each kind, of checks that the record has something to say of."""
    gaps = {gap.id for gap in record.gaps}
    remarks = remarks_of(record)
    places: dict[tuple[str, float, float], int] = {}
    for said in all_said(record):
        place = (said.recording, said.start, said.end)
        places[place] = places.get(place, 0) + 1

    def alone(finding: CheckFinding) -> bool:
        """Whether it rests on one remark that speaks of nothing else."""
        here = {(e.recording, e.start, e.end) for e in finding.evidence}
        return len(here) == 1 and places[next(iter(here))] == 1

    defects = [c for c in record.checks if c.outcome == "defect" and c.id not in gaps]
    measured = next((c for c in record.checks if c.readings), None)
    used = {measured.id} if measured else set()

    def take(among: list[CheckFinding]) -> CheckFinding:
        one = next(c for c in among if c.id not in used)
        used.add(one.id)
        return one

    silent = [c for c in record.checks if c.id in gaps and not c.evidence and c.applies]
    moved, dropped = (take([c for c in defects if alone(c) and not c.readings]) for _ in range(2))
    misheard, confirmed, turned, worse, worded = (take(defects) for _ in range(5))
    measured = measured or take(silent)
    there, tagged, photographed, left, stale = (take(silent) for _ in range(5))
    told = next((c for c in record.checks if c.id in gaps and c.outcome in ("ok", "defect")), None)
    loose = record.untagged[0]
    name = next(name for name, noted in record.facts.items() if noted.value is not None)
    heard, was = record.facts[name], next(iter(measured.readings), None)
    value, unit = (was.value + 0.125, was.unit) if was else (0.125, "mm")
    one_fitting = next(iter(record.fittings))
    has = record.fittings[one_fitting].fitted
    quote = misheard.evidence[0].quote
    first = quote.split()[0]

    def moving(finding: CheckFinding, to: str | None) -> Correction:
        return by(Move(remark=remarks.ref(finding.evidence[0]), check=finding.id, to=to))

    def tagging(said: Evidence | Untagged, check: str) -> Correction:
        return by(Tag(remark=remarks.ref(said), check=check, says="bad", severity="critical"))

    changed = Words(remark=remarks.ref(misheard.evidence[0]),
                    changes=(WordChange(at=0, heard=first, said="Zanzibar"),))  # fmt: skip
    old = Confirm(check=stale.id, seen=seen_of(stale, remarks).model_copy(update={"mark": "0" * 16}))
    taken_back = wording(record, confirmed.id, "This wording was taken back.")
    corrections = [
        confirm(record, confirmed.id),
        outcome(record, turned.id, "ok"),
        severity(record, worse.id, "critical" if worse.severity != "critical" else "minor"),
        wording(record, worded.id, "Worded by hand: torn on both sides."),
        moving(moved, there.id),
        moving(dropped, None),
        by(changed),
        tagging(loose, tagged.id),
        reading(record, measured.id, (was.value, was.unit) if was else None, (value, unit)),
        by(SetFact(fact=name, value="PLATE 7781", was=heard.value)),
        fitting(one_fitting, has is not True, has),
        settle(record, left.id, "No ladder on the day"),
        by(Add(title="Scratched beside the handle", check=photographed.id, severity="major",
               photos=(PHOTOS[0],))),
        by(Add(title="Fork pocket bent", severity="minor", photos=(PHOTOS[1],))),
        add("Lifting eyes are there", how="ok"),
        by(old),
        taken_back,
        undo(taken_back),
    ]  # fmt: skip
    if told is not None:
        corrections.append(settle(record, told.id, "He had the papers with him"))
    corrections = [correction.model_copy(update={"who": REVIEWER}) for correction in corrections]
    texts = (
        REVIEWER,
        "Worded by hand: torn on both sides.",
        "Zanzibar",
        quote,
        moved.evidence[0].quote,
        dropped.evidence[0].quote,
        loose.quote,
        f"{value:.6g}",
        "PLATE 7781",
        "No ladder on the day",
        "Scratched beside the handle",
        "Fork pocket bent",
        "Lifting eyes are there",
        *PHOTOS,
        "but from other words or values",
        *(["He had the papers with him"] if told else []),
        *(evidence.quote for finding in (turned, worse, worded) for evidence in finding.evidence),
    )
    checks = {
        "confirmed": confirmed.id, "turned": turned.id, "worse": worse.id, "worded": worded.id,
        "moved": moved.id, "there": there.id, "misheard": misheard.id, "tagged": tagged.id,
        "measured": measured.id, "left": left.id, "photographed": photographed.id, "stale": stale.id,
        "dropped": dropped.id, "fact": name, "fitting": one_fitting,
    }  # fmt: skip
    return Corrected(tuple(corrections), checks, texts)
