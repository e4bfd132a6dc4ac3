"""Moments that were marked aloud are in every format of the report, each with what was said before it."""

from __future__ import annotations

from functools import lru_cache

import pytest
from report_texts import FORMATS, squeezed, text_of

import voicenotes
from voicenotes.findings.read import read_texts
from voicenotes.model import CommandHeard, Record
from voicenotes.outputs.report_values import MarkedMoment
from voicenotes.report.build import report_of
from voicenotes.report.write import rendered
from voicenotes.vocabulary.schema import Pack

SAID = ("Lovely morning. Spindle noise is fine. The way wipers are torn.", "Chuck jaws are worn.")


@lru_cache
def pack() -> Pack:
    return voicenotes.load_pack("cnc_lathe")


def command(recording: str, start: float, does: str = "mark") -> CommandHeard:
    return CommandHeard(
        recording=recording, start=start, end=start + 1, quote="hey notebook, mark this moment", command=does
    )


@lru_cache
def record() -> Record:
    """Two memos; marks before anything was said, after the small talk, at the end, and a question."""
    read = read_texts(list(SAID), pack())
    first, second = (entry.file for entry in read.recordings)
    (small_talk,) = (said for said in read.untagged if "morning" in said.quote)
    commands = (
        command(first, 0.0),
        command(first, small_talk.end),
        command(first, 500.0),
        command(second, 500.0, "open_here"),
        command(second, 600.0),
    )
    return read.model_copy(update={"commands": commands})


def about(words: str) -> tuple[str, ...]:
    """Titles of the checks that a remark was taken for."""
    return tuple(c.title for c in record().checks if any(words in e.quote for e in c.evidence))


def test_each_mark_has_what_was_said_before_it_in_its_recording() -> None:
    first, second = (entry.file for entry in record().recordings)
    report = report_of(record(), pack())
    wipers, jaws = about("way wipers"), about("jaws")
    assert report.moments == (
        MarkedMoment(recording=first, at=0.0),
        MarkedMoment(recording=first, at=report.moments[1].at, said="Lovely morning."),
        MarkedMoment(recording=first, at=500.0, said="The way wipers are torn.", about=wipers),
        MarkedMoment(recording=second, at=600.0, said="Chuck jaws are worn.", about=jaws),
    )
    assert wipers and jaws


@pytest.mark.parametrize("format_", FORMATS)
def test_the_moments_are_in_every_format(format_: str) -> None:
    with_marks = report_of(record(), pack())
    text = text_of(format_, rendered(with_marks, format_))
    without = report_of(record().model_copy(update={"commands": ()}), pack())
    plain = text_of(format_, rendered(without, format_))
    for said in ("Lovely morning.", "10:00" if format_ != "json" else "600"):
        assert squeezed(said) in text
        assert squeezed(said) not in plain
