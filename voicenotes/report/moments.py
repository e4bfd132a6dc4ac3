"""The moments that the inspector marked while he talked, each with what he had said just before."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from voicenotes.outputs.report_values import MarkedMoment
from voicenotes.report.words import clean

if TYPE_CHECKING:
    from voicenotes.report.reviews import Stands

MARK = "mark"


def moments_of(stands: Stands) -> tuple[MarkedMoment, ...]:
    """The marked moments of the record in their order; `about` names what the remark before speaks of."""
    record = stands.record
    about: dict[tuple[str, float, float, str], list[str]] = defaultdict(list)
    for finding in record.checks:
        for piece in finding.evidence:
            about[piece.recording, piece.start, piece.end, piece.quote].append(clean(finding.title))
    named = [(name, fact.evidence) for name, fact in record.facts.items()]
    named += [(name, fitting.evidence) for name, fitting in record.fittings.items()]
    for name, evidence in named:
        for piece in evidence:
            title = clean(stands.titles.get(name, name))
            about[piece.recording, piece.start, piece.end, piece.quote].append(title)
    for said in record.untagged:
        about[said.recording, said.start, said.end, said.quote] += []
    moments = []
    for command in record.commands:
        if command.command != MARK:
            continue
        before = [one for one in about if one[0] == command.recording and one[2] <= command.start]
        last = max(before, key=lambda one: (one[2], one[1]), default=None)
        moments.append(
            MarkedMoment(
                recording=clean(command.recording),
                at=command.start,
                said=clean(last[3]) if last else None,
                about=tuple(dict.fromkeys(about[last])) if last else (),
            )
        )
    return tuple(moments)
