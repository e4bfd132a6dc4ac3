"""How a text was read: its words with their roles, its cues with their reach, and what was made of them.

These values are what `explain --json` prints; the screen is drawn from them alone, so both say the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from pydantic import Field

from voicenotes.model import Basis, Frozen, Outcome, PackStamp, Polarity, Reading, Severity

if TYPE_CHECKING:
    from collections.abc import Iterable

    from voicenotes.language.drawn_reach import CueReach
    from voicenotes.language.grounds import Ground
    from voicenotes.language.mentions import FactMention, FittingMention, Mention
    from voicenotes.language.spans import Span
    from voicenotes.language.trace import Mark, Trace, TracedRemark
    from voicenotes.model import Record, Transcript
    from voicenotes.vocabulary.schema import Pack

Role = Literal["subject", "condition", "aspect", "cue", "quantity", "fact", "station"]
SeverityFrom = Literal["stated", "limit", "condition", "check"]
Cut = Literal["start", "break", "comma", "and", "subject", "marker"]


class ExplainedWord(Frozen):
    """One word; contractions are taken apart ("isn't" is two)."""

    text: str
    norm: str = Field(description="the word as the reader compares it")
    start: int = Field(ge=0, description="first character in `text` of the whole")
    end: int = Field(ge=0, description="the character after the last")
    remark: int = Field(ge=0, description="place of its remark")
    roles: tuple[Role, ...] = Field(description="what it was where it decided; empty if it decided nothing")


class ExplainedMark(Frozen):
    """Words and what they were taken for."""

    role: Role
    kind: str = Field(description="how a subject was found, a condition's list, a cue's kind, a fact's id")
    owner: str = Field(description="whose list a condition stands in; what a subject names")
    value: str = Field(description="what a quantity was read as")
    words: tuple[int, ...] = Field(description="places of its words")
    decided: bool


class ExplainedCue(Frozen):
    """A cue, and the words that it could change and did change something in."""

    kind: str
    words: tuple[int, ...]
    remark: int
    direction: Literal["forward", "backward", "both"]
    most_words: int = Field(description="the reach in words that its rule gives it")
    reach: tuple[int, ...] = Field(description="places of the words it reached, with its own")
    took_in: tuple[tuple[int, ...], ...] = Field(description="places of the words that it changed")
    stopped: str = Field(description="what ended its reach")
    acted: bool


class Because(Frozen):
    """Words that a judgement rests on; without words for what was known from before."""

    role: Role
    kind: str
    owner: str
    words: tuple[int, ...]


class ExplainedCheck(Frozen):
    """What one remark says of one check, and what the whole text makes of it."""

    check: str
    title: str
    polarity: Polarity
    basis: Basis
    confidence: float
    severity: Severity | None
    severity_from: SeverityFrom | None
    readings: tuple[Reading, ...]
    because: tuple[Because, ...]
    why: str
    outcome: Outcome = Field(description="of the check, after the whole text")


class ExplainedFitting(Frozen):
    """What one remark says of a fitting: there (true), not there (false), or not sure (null)."""

    fitting: str
    fitted: bool | None
    basis: Basis
    confidence: float
    because: tuple[Because, ...]
    why: str


class ExplainedFact(Frozen):
    """A value that one remark gives."""

    fact: str
    value: str | float | int
    unit: str | None
    basis: Basis
    confidence: float
    because: tuple[Because, ...]
    why: str


class ExplainedRemark(Frozen):
    """A stretch of the text that was read as one."""

    quote: str
    sentence: int
    start: int = Field(description="first character in `text` of the whole")
    end: int
    words: tuple[int, ...]
    cut: Cut = Field(description="why it starts where it does")
    taken_back_by: tuple[int, ...] = Field(description="places of the words that withdrew it")
    foreign: float = Field(description="share of words around it that carry a meaning the pack doesn't know")
    checks: tuple[ExplainedCheck, ...]
    fittings: tuple[ExplainedFitting, ...]
    facts: tuple[ExplainedFact, ...]

    @property
    def is_tagged(self) -> bool:
        """Whether anything took it."""
        return bool(self.checks or self.fittings or self.facts)


class Explanation(Frozen):
    """How one text was read. Words, remarks and cues are named by their places in these lists."""

    pack: PackStamp
    text: str
    words: tuple[ExplainedWord, ...] = ()
    marks: tuple[ExplainedMark, ...] = ()
    cues: tuple[ExplainedCue, ...] = ()
    remarks: tuple[ExplainedRemark, ...] = ()

    def say(self, words: Iterable[int]) -> str:
        """The text's own characters of neighbouring words, without the marks around them."""
        places = sorted(words)
        return self.text[self.words[places[0]].start : self.words[places[-1]].end].rstrip(".,;:!?")


def explain(text: str | Transcript, pack: Pack) -> Explanation:
    """Read a text, and say how."""
    from voicenotes.findings.read import read_text, transcript_of_text
    from voicenotes.language.trace import trace_of

    transcript = transcript_of_text(text) if isinstance(text, str) else text
    record, trace = read_text(transcript, pack), trace_of(transcript, pack)
    marks = tuple(_mark(mark) for traced in trace.remarks for mark in traced.marks)
    return Explanation(
        pack=record.pack,
        text=trace.words.text,
        words=tuple(_words(trace, marks)),
        marks=marks,
        cues=tuple(_cue(reach) for reach in trace.reaches),
        remarks=tuple(_remark(trace, traced, record) for traced in trace.remarks),
    )


def _words(trace: Trace, marks: Iterable[ExplainedMark]) -> Iterable[ExplainedWord]:
    roles: dict[int, dict[Role, None]] = {}
    for mark in marks:
        for word in mark.words if mark.decided else ():
            roles.setdefault(word, {})[mark.role] = None
    words = trace.words
    for place, traced in enumerate(trace.remarks):
        for word in range(traced.clause.start, traced.clause.end):
            start, end = words.starts[word], words.ends[word]
            yield ExplainedWord(
                text=words.text[start:end], norm=words.norms[word], start=start, end=end, remark=place,
                roles=tuple(roles.get(word, ())),
            )  # fmt: skip


def _mark(mark: Mark) -> ExplainedMark:
    return ExplainedMark(
        role=mark.role, kind=mark.kind, owner=mark.owner, value=mark.value, decided=mark.decided,
        words=tuple(range(mark.start, mark.end)),
    )  # fmt: skip


def _cue(drawn: CueReach) -> ExplainedCue:
    cue = drawn.cue
    return ExplainedCue(
        kind=cue.kind, words=_places((cue.start, cue.end)), remark=drawn.remark,
        direction=cue.use.reach,  # type: ignore[arg-type]
        most_words=cue.use.words,
        reach=_places(drawn.reach or (0, 0)), took_in=tuple(_places(span) for span in drawn.took_in),
        stopped=drawn.stopped, acted=drawn.acted,
    )  # fmt: skip


def _remark(trace: Trace, traced: TracedRemark, record: Record) -> ExplainedRemark:
    words, clause, remark = trace.words, traced.clause, traced.remark
    return ExplainedRemark(
        quote=remark.quote,
        sentence=clause.sentence,
        start=words.heads[clause.start] if clause.start else 0,
        end=words.heads[clause.end] if clause.end < len(words) else len(words.text),
        words=_places((clause.start, clause.end)),
        cut=clause.joint,
        taken_back_by=_places(remark.taken_back_by or (0, 0)),
        foreign=round(traced.foreign, 3),
        checks=tuple(_check(mention, record) for mention in remark.mentions),
        fittings=tuple(_fitting(mention) for mention in remark.fittings),
        facts=tuple(_fact(mention) for mention in remark.facts),
    )


def _check(mention: Mention, record: Record) -> ExplainedCheck:
    finding = record.check(mention.check)
    return ExplainedCheck(
        check=mention.check, title=finding.title, polarity=mention.polarity, basis=mention.basis,
        confidence=mention.confidence, severity=mention.severity,
        severity_from=mention.severity_from if mention.severity else None,
        readings=mention.readings, because=_because(mention.grounds), why=mention.why,
        outcome=finding.outcome,
    )  # fmt: skip


def _fitting(mention: FittingMention) -> ExplainedFitting:
    return ExplainedFitting(
        fitting=mention.fitting, fitted=mention.fitted, basis=mention.basis, confidence=mention.confidence,
        because=_because(mention.grounds), why=mention.why,
    )  # fmt: skip


def _fact(mention: FactMention) -> ExplainedFact:
    return ExplainedFact(
        fact=mention.fact, value=mention.value, unit=mention.unit, basis=mention.basis,
        confidence=mention.confidence, because=_because(mention.grounds), why=mention.why,
    )  # fmt: skip


def _because(grounds: Iterable[Ground]) -> tuple[Because, ...]:
    return tuple(
        Because(role=g.role, kind=g.kind, owner=g.owner, words=_places((g.start, g.end))) for g in grounds
    )


def _places(span: Span) -> tuple[int, ...]:
    return tuple(range(*span))
