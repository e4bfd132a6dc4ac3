"""What `explain` shows: each sentence with its words marked, and under it what was made of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.relevance import relevance
from voicenotes.outputs.canvas import DRAWN, Line, Signs, columns, printable
from voicenotes.outputs.marked_words import QUIET, picture, sentences_of
from voicenotes.outputs.wording import WIDTH, in_a_list, number, reading_line, wrapped

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from voicenotes.model import Basis, Outcome, Polarity
    from voicenotes.outputs.explanation import (
        Because,
        ExplainedCheck,
        ExplainedFact,
        ExplainedFitting,
        ExplainedRemark,
        Explanation,
    )

JUDGED: dict[Polarity, str] = {
    "good": "OK",
    "bad": "DEFECT",
    "unsure": "UNSURE",
    "not_tested": "NOT TESTED",
    "not_fitted": "NOT FITTED",
    "named": "NOT JUDGED",
    "withdrawn": "TAKEN BACK",
}
_OUTCOME_OF: dict[Polarity, Outcome] = {
    "good": "ok", "bad": "defect", "unsure": "unsure", "not_tested": "not_tested", "named": "not_mentioned",
}  # fmt: skip
_EFFECTS = {
    "negation": "turns it round",
    "hedge": "makes it unsure",
    "hearsay": "only told: still a gap",
    "not_tested": "he couldn't test it",
    "plan": "settles nothing",
    "general": "settles nothing",
    "history": "settles nothing",
    "sweep": "said of too much at once: settles nothing",
    "exception": "the contrary of what is said of the rest",
    "any such thing": "settles nothing",
    "now": "what was so before counts no more",
    "present": "says that it is there",
    "absent": "says that it is not there",
    "answer": "answers it",
    "echo": "says again, or denies, what was said last",
    "softener": "one class milder",
    "class_critical": "states the severity",
    "class_major": "states the severity",
    "class_minor": "states the severity",
}
_FOUND = {
    "inflected": "another form of the pack's word",
    "misheard": "a known mishearing",
    "spelling": "guessed by its spelling",
    "sound": "guessed by its sound",
}
_SEVERITY_FROM = {
    "stated": "he said so",
    "limit": "the limit's",
    "condition": "that word's own",
    "check": "the check's usual one",
}
_LABEL = 11  # columns of "taken back" and a space
_LEAST_FOR_LABELS = 60  # columns


def explanation_lines(seen: Explanation, width: int = WIDTH, signs: Signs = DRAWN) -> list[Line]:
    """The whole explanation in lines of at most `width` columns."""
    if not seen.words:
        return [(("There are no words in this.", ""),)]
    lines: list[Line] = []
    for sentence in sentences_of(seen.remarks):
        if lines:
            lines.append(())
        lines += picture(seen, sentence, width, signs)
        for place in sentence:
            lines += _remark_lines(seen, place, width, signs)
    return lines


def _remark_lines(seen: Explanation, place: int, width: int, signs: Signs) -> Iterator[Line]:
    remark = seen.remarks[place]
    mark = f"{signs.cut}{place + 1}{signs.cut} " if len(seen.remarks) > 1 else ""
    sheet = _Sheet(seen, width, mark)
    if not remark.is_tagged:
        yield from sheet.head("NOTHING", QUIET, _why_nothing(remark), "", "")
    for check in remark.checks:
        yield from _check_lines(sheet, remark, check)
    for fitting in remark.fittings:
        yield from _fitting_lines(sheet, remark, fitting)
    for fact in remark.facts:
        yield from _fact_lines(sheet, remark, fact)


class _Sheet:
    """Lines of one remark's results."""

    def __init__(self, seen: Explanation, width: int, mark: str) -> None:
        self.seen = seen
        self._width = width
        self._mark = mark
        self._indent = 1 + columns(mark) if width >= _LEAST_FOR_LABELS else 1

    def head(self, result: str, style: str, name: str, title: str, right: str) -> Iterator[Line]:
        """The result, what it is about, and how surely; in two lines or three where one is too short."""
        left = f" {self._mark}"
        one = f"{left}{result}  {name}  {title}" if title else f"{left}{result}  {name}"
        room = self._width - (columns(right) + 2 if right else 0)
        shown_title = bool(title)
        if columns(one) > room:
            one = f"{left}{result}  {name}"
            shown_title = False
        if columns(one) <= room:
            gap = " " * (self._width - columns(one) - columns(right)) if right else ""
            ended = f"  {title}" if shown_title else ""
            yield (left, QUIET), (result, style), (f"  {name}", "name"), (ended, ""), (gap + right, QUIET)
        else:
            yield (left, QUIET), (result, style)
            for line in wrapped(name, " " * (self._indent + 2), self._width):
                yield ((line, "name"),)
            if right:
                yield ((" " * (self._indent + 2) + right, QUIET),)
        if title and not shown_title:
            for line in wrapped(title, " " * (self._indent + 2), self._width):
                yield ((line, ""),)

    def detail(self, label: str, style: str, quote: str, text: str) -> Iterator[Line]:
        """What a label says: words of the text, and what they did."""
        said = f'"{printable(quote)}"' if quote else ""
        if said and text:
            said += ": "
        first = " " * (self._indent + 2) + f"{label:<{_LABEL}}"
        hanging = len(first) if self._width >= _LEAST_FOR_LABELS else self._indent + 4
        lines = wrapped(f"{said}{text}", " " * hanging, self._width, first=first)
        for at, line in enumerate(lines):
            if at:
                yield ((line, ""),)
            else:
                yield (first, style), (line[len(first) :], "")


def _check_lines(sheet: _Sheet, remark: ExplainedRemark, check: ExplainedCheck) -> Iterator[Line]:
    polarity: Polarity = "withdrawn" if remark.taken_back_by else check.polarity
    severity = f" {check.severity}" if check.severity and polarity == "bad" else ""
    result = f"{JUDGED[polarity]}{severity}"
    yield from sheet.head(
        result, polarity, check.check, in_a_list(check.title), _sureness(check.basis, check.confidence)
    )
    yield from _because_lines(sheet, check.because)
    for reading in check.readings:
        source = f"; {reading.source}" if reading.source else ""
        yield from sheet.detail("reading", "quantity", "", f"{reading_line(reading)}{source}")
    if severity and check.severity_from:
        where = _SEVERITY_FROM[check.severity_from]
        milder = ", one class milder" if any(b.kind == "softener" for b in check.because) else ""
        yield from sheet.detail("severity", "bad", "", f"{check.severity}: {where}{milder}")
    yield from _taken_back(sheet, remark)
    otherwise = check.outcome != _OUTCOME_OF.get(polarity, check.outcome)
    if otherwise and (polarity != "named" or check.outcome == "not_fitted"):
        outcome = check.outcome.replace("_", " ")
        yield from sheet.detail("in all", "", "", f"{outcome}, by all that was said")


def _fitting_lines(sheet: _Sheet, remark: ExplainedRemark, fitting: ExplainedFitting) -> Iterator[Line]:
    result = {True: "FITTED", False: "NOT FITTED", None: "FITTED OR NOT"}[fitting.fitted]
    by_check = fitting.because in {check.because for check in remark.checks}
    title = "a check of it was judged" if by_check else ""
    sureness = _sureness(fitting.basis, fitting.confidence)
    yield from sheet.head(result, "fitting", fitting.fitting, title, sureness)
    if not by_check:
        yield from _because_lines(sheet, fitting.because)
    yield from _taken_back(sheet, remark)


def _fact_lines(sheet: _Sheet, remark: ExplainedRemark, fact: ExplainedFact) -> Iterator[Line]:
    value = number(fact.value) if isinstance(fact.value, float) else str(fact.value)
    unit = f" {fact.unit}" if fact.unit else ""
    name = f"{fact.fact}: {printable(value)}{unit}"
    yield from sheet.head("NOTED", "fact", name, "", _sureness(fact.basis, fact.confidence))
    yield from _because_lines(sheet, fact.because)
    yield from _taken_back(sheet, remark)


def _because_lines(sheet: _Sheet, grounds: Iterable[Because]) -> Iterator[Line]:
    for ground in grounds:
        quote = sheet.seen.say(ground.words) if ground.words else ""
        yield from sheet.detail(ground.role, ground.role, quote, _meaning(ground))


def _meaning(ground: Because) -> str:
    """What words did for a judgement."""
    if ground.role == "subject":
        if not ground.words:
            return "carried over from the check spoken of before"
        return "carried over from before" if ground.kind == "carried over" else _FOUND.get(ground.kind, "")
    if ground.role == "condition":
        return f"{ground.kind}, {_whose(ground.owner)}"
    if ground.role == "aspect":
        return "names this check" if "." in ground.owner else f"names the aspect {ground.owner}"
    if ground.role == "cue":
        kind = ground.kind.replace("_", " ")
        effect = _EFFECTS.get(ground.kind, "")
        return f"{kind}, {effect}" if effect else kind
    if ground.role == "station":
        return f"{ground.kind}: nothing is named, so it is the one check here that knows the word"
    return ground.kind.replace("_", " ") if ground.role == "fact" else ""


def _whose(owner: str) -> str:
    if owner == "general":
        return "said of anything"
    return "the check's own list" if "." in owner else f"list of the aspect {owner}"


def _taken_back(sheet: _Sheet, remark: ExplainedRemark) -> Iterator[Line]:
    if remark.taken_back_by:
        yield from sheet.detail("taken back", "cue", sheet.seen.say(remark.taken_back_by), "")


def _sureness(basis: Basis, confidence: float) -> str:
    return f"{basis}, confidence {confidence:.2f}"


def _why_nothing(remark: ExplainedRemark) -> str:
    """That nothing took a remark, and whether it is too much talk of other things."""
    if remark.foreign > relevance().unnamed.judged:
        return f"taken by no check; {remark.foreign:.0%} of the words around it are foreign to the pack"
    return "taken by no check"
