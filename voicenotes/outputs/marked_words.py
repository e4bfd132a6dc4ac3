"""A sentence with its words marked: under the words what each is, under these how far each cue reached."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.drawn_reach import REMARK_EDGES
from voicenotes.outputs.canvas import Canvas, Line, columns, printable
from voicenotes.outputs.wording import wrapped

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from voicenotes.outputs.canvas import Signs
    from voicenotes.outputs.explanation import ExplainedCue, ExplainedMark, ExplainedRemark, Explanation

QUIET = "quiet"
_INDENT = 1
_UNMARKED = frozenset({"link", "strengthener"})  # cues that change no reading
_QUIET_ONES = frozenset({"present", "absent", "now"})  # "a", "no": only worth a label where they decide
_SHOWN_UNUSED = frozenset({"negation", "hedge", "hearsay", "plan", "general", "history", "not_tested"})
_CUTTING = frozenset({"breaker", "marker"})
_TAKING_BACK = frozenset({"retract", "correct"})
_LABELS = {
    "breaker": "cuts", "marker": "cuts", "retract": "takes back",
    "correct": "takes back", "pseudo": "denies nothing",
}  # fmt: skip


@dataclass(frozen=True)
class _Label:
    """What is put under words: from one place of the text to another (exclusive), in a style."""

    start: int
    end: int
    text: str
    style: str
    decided: bool


def picture(seen: Explanation, remarks: Sequence[int], width: int, signs: Signs) -> list[Line]:
    """The remarks of one sentence in blocks of at most `width` columns."""
    labels = _labels(seen, remarks)
    layout = _Layout(seen, remarks, width, signs, _styles_of_characters(labels))
    marks = list(_layers(labels))
    cues = [cue for cue in seen.cues if cue.remark in remarks and _is_drawn(seen, cue)]
    lines: list[Line] = []
    for row in range(layout.rows):
        canvas = Canvas()
        for column, text, style in layout.row(row):
            canvas.put(0, column, text, style)
        for layer in marks:
            _underline(canvas, layout, row, layer, signs)
        for cue in cues:
            _draw_reach(canvas, layout, row, seen, cue, signs)
        lines += canvas.lines()
    return lines


class _Layout:
    """Where each character of the sentence stands: its row and column."""

    def __init__(
        self, seen: Explanation, remarks: Sequence[int], width: int, signs: Signs, styles: dict[int, str]
    ) -> None:
        self.width = width
        self._pieces: list[list[tuple[int, str, str]]] = [[]]
        self._at: dict[int, tuple[int, int, int]] = {}
        self._column = _INDENT
        for place in remarks:
            remark = seen.remarks[place]
            if len(seen.remarks) > 1:
                self._place(f"{signs.cut}{place + 1}{signs.cut}", QUIET, None)
            for start, token in _tokens(seen.text, remark.start, remark.end):
                self._place(token, "", start, styles)

    @property
    def rows(self) -> int:
        """How many rows of words there are."""
        return len(self._pieces)

    def row(self, row: int) -> list[tuple[int, str, str]]:
        """The pieces of a row: column, text, style."""
        return self._pieces[row]

    def columns_of(self, row: int, start: int, end: int) -> tuple[int, int] | None:
        """The columns (end exclusive) that characters start..end take in a row; None when none does."""
        found = [at for c in range(start, end) if (at := self._at.get(c)) is not None and at[0] == row]
        return (found[0][1], found[-1][2]) if found else None

    def rows_of(self, start: int, end: int) -> list[int]:
        """The rows that characters start..end stand in."""
        return sorted({self._at[c][0] for c in range(start, end) if c in self._at})

    def _place(self, token: str, style: str, start: int | None, styles: dict[int, str] | None = None) -> None:
        shown = printable(token)
        wide = columns(shown)
        if self._column > _INDENT and self._column + wide > self.width:
            self._new_row()
        for offset, sign in enumerate(shown):
            if self._column + columns(sign) > self.width:
                self._new_row()
            here = self._column
            own = style if styles is None or start is None else styles.get(start + offset, QUIET)
            self._pieces[-1].append((here, sign, own))
            self._column += columns(sign)
            if start is not None:
                self._at[start + offset] = (len(self._pieces) - 1, here, self._column)
        self._column += 1

    def _new_row(self) -> None:
        self._pieces.append([])
        self._column = _INDENT


def _tokens(text: str, start: int, end: int) -> Iterator[tuple[int, str]]:
    at = start
    for token in text[start:end].split():
        at = text.index(token, at)
        yield at, token
        at += len(token)


def _styles_of_characters(labels: Iterable[_Label]) -> dict[int, str]:
    """A style for each character of the words that decided."""
    styles: dict[int, str] = {}
    for label in labels:
        for place in range(label.start, label.end) if label.decided else ():
            styles.setdefault(place, label.style)
    return styles


def _labels(seen: Explanation, remarks: Sequence[int]) -> list[_Label]:
    """The labels of the sentence's marks that are worth showing, in order of words."""
    here = [mark for mark in seen.marks if mark.words and seen.words[mark.words[0]].remark in remarks]
    decided = [mark for mark in here if mark.decided]
    reaching = {cue.words: cue.kind for cue in seen.cues if _is_drawn(seen, cue)}
    labels: dict[tuple[int, ...], _Label] = {}
    for mark in here:
        if not mark.decided and _inside(mark, decided):
            continue
        if mark.kind in _QUIET_ONES and not mark.decided:
            continue
        if mark.role == "cue" and (
            mark.kind in _UNMARKED or reaching.get(mark.words, mark.kind) != mark.kind
        ):
            continue
        if mark.role == "station" and any(
            d.role == "subject" and set(d.words) & set(mark.words) for d in decided
        ):
            continue
        text = "" if mark.role == "cue" and mark.words in reaching else _wording(mark, decided)
        if not mark.decided and text:
            text = f"({text})"
        known = labels.get(mark.words)
        if known is not None and known.decided:
            if text and text != known.text and mark.decided:
                labels[mark.words] = _Label(
                    known.start, known.end, f"{known.text}, {text}" if known.text else text, known.style, True
                )
            continue
        start, end = seen.words[mark.words[0]].start, seen.words[mark.words[-1]].end
        style = str(mark.role) if mark.decided else QUIET
        labels[mark.words] = _Label(start, end, text, style, mark.decided)
    return list(labels.values())


def _inside(mark: ExplainedMark, decided: Iterable[ExplainedMark]) -> bool:
    return any(set(mark.words) <= set(other.words) for other in decided)


def _wording(mark: ExplainedMark, decided: Iterable[ExplainedMark]) -> str:
    """What a mark is, in a word or two."""
    if mark.role == "quantity":
        return f"= {mark.value}"
    if mark.role == "fact":
        return mark.kind.replace("_", " ")
    if mark.role == "subject":
        station = any(m.role == "station" and set(mark.words) & set(m.words) for m in decided)
        return "subject, station" if station and mark.decided else "subject"
    if mark.role in ("condition", "cue"):
        return _LABELS.get(mark.kind, mark.kind.replace("_", " "))
    return str(mark.role)


def _layers(labels: Iterable[_Label]) -> Iterator[list[_Label]]:
    """Labels in layers, within which no two share words."""
    waiting = sorted(labels, key=lambda label: (label.start, -label.end))
    while waiting:
        layer: list[_Label] = []
        left: list[_Label] = []
        for label in waiting:
            (left if layer and label.start < layer[-1].end else layer).append(label)
        yield layer
        waiting = left


def _underline(canvas: Canvas, layout: _Layout, row: int, layer: Sequence[_Label], signs: Signs) -> None:
    """A layer's underlines, and below them the labels, from the right, each as high as there is room."""
    top = canvas.height
    for label in reversed(layer):
        at = layout.columns_of(row, label.start, label.end)
        if at is None:
            continue
        line = signs.decided if label.decided else signs.quiet
        canvas.put(top, at[0], line * (at[1] - at[0]), label.style)
        if not label.text or layout.rows_of(label.start, label.end)[0] != row:
            continue
        column = max(0, min(at[0], layout.width - len(label.text)))
        below = top + 1
        while not canvas.is_free(below, column - 1, column + len(label.text) + 1):
            below += 1
        for between in range(top + 1, below):
            canvas.put(between, at[0], signs.tie, label.style)
        canvas.put(below, column, label.text, label.style)


def _is_drawn(seen: Explanation, cue: ExplainedCue) -> bool:
    """Whether a cue's reach is worth drawing: it acted, or one would have expected it to."""
    if not cue.reach or cue.kind in _CUTTING:
        return False
    if cue.acted:
        return True
    taken = any(mark.decided and set(cue.words) & set(mark.words) for mark in seen.marks)
    return cue.kind in _SHOWN_UNUSED and not taken


def _draw_reach(
    canvas: Canvas, layout: _Layout, row: int, seen: Explanation, cue: ExplainedCue, signs: Signs
) -> None:
    """One row: the cue, the words it reaches, what it took in, and where it was stopped."""
    first, last = seen.words[cue.reach[0]].start, seen.words[cue.reach[-1]].end
    at = layout.columns_of(row, first, last)
    if at is None:
        return
    style = "cue" if cue.acted else QUIET
    rows = layout.rows_of(first, last)
    line, left, right = canvas.height, *at
    canvas.put(line, left, signs.along * (right - left), style)
    whole = {remark.words for remark in seen.remarks}
    for taken in cue.took_in:
        span = layout.columns_of(row, seen.words[taken[0]].start, seen.words[taken[-1]].end)
        if taken not in whole and span is not None:
            canvas.put(line, span[0], signs.took * (span[1] - span[0]), style)
    own = layout.columns_of(row, seen.words[cue.words[0]].start, seen.words[cue.words[-1]].end)
    if right - left > 1:
        canvas.put(line, left, signs.left if row == rows[0] else signs.back, style)
        canvas.put(line, right - 1, signs.right if row == rows[-1] else signs.on, style)
    if own is not None:
        sign = signs.here if own[0] == left else signs.both
        canvas.put(line, own[0], sign, style)
        if own[1] == right and own[0] != left:
            canvas.put(line, right - 1, signs.from_right, style)
    if row == rows[-1]:
        _beside(canvas, layout, line, left, right, reach_words(seen, cue), style)


def reach_words(seen: Explanation, cue: ExplainedCue) -> str:
    """A cue's kind, and what ended its reach: "negation, stopped by the remark's end"."""
    kind = cue.kind.replace("_", " ")
    if cue.kind in _TAKING_BACK:
        taken = [place + 1 for place, remark in enumerate(seen.remarks) if remark.words in cue.took_in]
        return f"takes back {', '.join(map(str, taken))}"
    if cue.stopped == REMARK_EDGES:
        end = "over the whole remark"
    else:
        end = f"after {cue.stopped}" if cue.stopped[:1].isdigit() else f"stopped by {cue.stopped}"
    return f"{kind}, {end}" if cue.acted else f"({kind}, changes nothing: {end})"


def _beside(canvas: Canvas, layout: _Layout, line: int, left: int, right: int, text: str, style: str) -> None:
    """Text to the right of a drawn line, else to its left, else below."""
    text = printable(text)
    if right + 1 + columns(text) <= layout.width:
        canvas.put(line, right + 1, text, style)
    elif columns(text) + 1 + _INDENT <= left:
        canvas.put(line, left - 1 - columns(text), text, style)
    else:
        column = max(_INDENT + 2, min(left, layout.width - columns(text)))
        for number, part in enumerate(wrapped(text, "", layout.width - column)):
            canvas.put(line + 1 + number, column, part, style)


def sentences_of(remarks: Sequence[ExplainedRemark]) -> list[list[int]]:
    """The places of the remarks, those of one sentence together."""
    groups: list[list[int]] = []
    for place, remark in enumerate(remarks):
        if groups and remarks[groups[-1][-1]].sentence == remark.sentence:
            groups[-1].append(place)
        else:
            groups.append([place])
    return groups
