"""A little pack for tests of what stands above the reader, and a visit's transcripts for it."""

from __future__ import annotations

from pathlib import Path

FILES = {
    "pack.yaml": """
id: small
title: Small lathe
version: "3"
machine: [machine, lathe]
cautions: [A check that was not mentioned has not been passed.]
stations:
  - {id: head, title: Headstock, terms: [the headstock], cautions: [Rotating spindle. Doors shut.]}
  - {id: tail, title: Tailstock, terms: [tailstock end]}
  - {id: tank, title: Coolant tank, terms: [coolant side]}
fittings:
  - {id: tailstock, title: Tailstock, terms: [tailstock], share: 0.5}
risk:
  severity_weights: {critical: 100, major: 25, minor: 5}
  likelihoods: {rare: 0.04, occasional: 0.1, common: 0.4}
  question_minutes: 0.5
  source: "common practice, no source"
""",
    "parts.yaml": """
- {id: spindle, terms: [spindle]}
- {id: tank, terms: [coolant tank, sump]}
""",
    "aspects.yaml": """
- {id: noise, title: noise, names: [sounds], good: [quiet], bad: [growls], unwanted: [rumble]}
- {id: heat, title: temperature, names: [temperature], good: [cool], bad: [hot]}
- {id: leak, title: leaks, good: [dry], bad: [leaks], unwanted: [leak]}
""",
    "facts.yaml": """
- {id: maker, title: Maker, kind: choice, choices: {Lantern: [lantern]}}
- {id: serial, title: Serial number, kind: code, lead: [serial number]}
""",
    "checks/head.yaml": """
- {id: head.noise, title: Bearing noise, judged: no rumble, severity: critical, likely: occasional,
   minutes: 3, must_before_leaving: true, parts: [spindle], aspects: [noise], terms: [spindle noise]}
- {id: head.heat, title: Headstock temperature, judged: stays cool, severity: major, likely: occasional,
   minutes: 10, must_before_leaving: false, parts: [spindle], aspects: [heat], terms: [headstock temperature]}
- {id: head.runout, title: Runout at the nose, judged: measured, severity: major, likely: rare,
   minutes: 5, must_before_leaving: true, parts: [spindle], terms: [spindle runout],
   caution: Indicator clear of the jaws.,
   readings: [{quantity: runout, dimension: length, unit: in, at_most: 0.0004,
     source: "common practice, no source"}]}
""",
    "checks/tail.yaml": """
- {id: tail.quill, title: Quill travel, judged: full stroke, fitting: tailstock, severity: major,
   likely: common, minutes: 2, must_before_leaving: true, terms: [quill], good: [full stroke], bad: [stuck]}
""",
    "checks/tank.yaml": """
- {id: tank.leaks, title: Coolant leaks, judged: dry, severity: minor, likely: common, minutes: 2,
   must_before_leaving: false, parts: [tank], aspects: [leak], terms: [coolant leak]}
""",
    "carriers.yaml": """
- the {part} is {good}
- no {unwanted} at the {part}
""",
    "sentences/head.yaml": """
- say: spindle growls
  expect: {head.noise: defect critical}
""",
}


def write_pack(folder: Path) -> Path:
    """Write the pack's files into `folder`."""
    for name, text in FILES.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text.lstrip(), encoding="utf-8")
    return folder
