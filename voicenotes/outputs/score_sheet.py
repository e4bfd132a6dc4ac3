"""A score as lines of at most 80 characters."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from voicenotes.outputs.wording import WIDTH, count, quoted, wrapped

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.findings.score_values import Misreading, Score, SetScore
    from voicenotes.findings.shares import Share

DEFAULT_WORST = 10
_LABEL_WIDTH = 34
_MOST_OF_A_REASON = 240


def score_lines(score: Score, worst: int = DEFAULT_WORST) -> list[str]:
    """The numbers, the confusions, and the `worst` misreadings with the words that decided."""
    written = score.written
    talk = f"{count(written.texts, 'text')}, {count(written.words, 'word')}"
    lines = wrapped(
        f"{score.pack.id}, version {score.pack.version}: {written.entries.of} labelled "
        f"{'entry' if written.entries.of == 1 else 'entries'}, {talk}", "  ", first="",
    )  # fmt: skip
    for note in score.notes:
        lines += wrapped(note, "  ", first="! ")
    lines += _headlines(written) + _outcomes(written) + _kinds(written) + _confusions(written)
    lines += _misreadings(written.misreadings, worst, "WORST MISREADINGS")
    if score.raw is not None:
        lines += _without_punctuation(score, score.raw, worst)
    return lines


def _headlines(score: SetScore) -> list[str]:
    mentions, severity, settled = score.mentions, score.severity, score.false_settlements
    lines = ["", f"{'':<{_LABEL_WIDTH}}{'right':>7}{'of':>8}{'share':>9}   95 % interval"]
    lines.append(_share_line("Entries wholly as labelled", score.entries))
    lines.append(_share_line("Mentions: precision", mentions.precision))
    lines.append(_share_line("  recall", mentions.recall))
    lines.append(f"{'  F1':<{_LABEL_WIDTH}}{'':>15}{_percent(mentions.f1):>9}")
    lines.append(_share_line("Right outcome of right mentions", score.right_outcomes))
    lines.append(_share_line("Severity of defects", severity.all))
    lines.append(_share_line("  labelled with the usual one", severity.usual))
    lines.append(_share_line("  labelled with another", severity.other))
    for title, values in (("Readings", score.readings), ("Facts", score.facts), ("Fittings", score.fittings)):
        lines.append(_share_line(title, values.labelled))
    lines += wrapped(
        f"Beyond the labels: {count(score.readings.beyond, 'reading')}, {count(score.facts.beyond, 'fact')}, "
        f"{count(score.fittings.beyond, 'fitting')} said to be absent.", "  ", first="",
    )  # fmt: skip
    lines += ["", f"{'':<{_LABEL_WIDTH}}{'false':>7}{'of':>8}{'share':>9}   95 % interval"]
    lines.append(_share_line("False settlements, of open checks", settled.of_open_checks))
    lines.append(f"  {settled.per_100_texts:.2f} per 100 texts, {settled.per_1000_words:.2f} per 1000 words")
    return lines


def _share_line(title: str, share: Share) -> str:
    start = f"{title:<{_LABEL_WIDTH}}{share.right:>7}{share.of:>8}{_percent(share.share):>9}"
    if share.low is None or share.high is None:
        return start
    return f"{start}   {_percent(share.low, '')} to {_percent(share.high)}"


def _percent(share: float | None, sign: str = " %") -> str:
    """ "91.2 %"; small shares with more digits: "0.014 %"."""
    if share is None:
        return "-"
    return f"{100 * share:.1f}{sign}" if share == 0 or share >= 0.01 else f"{100 * share:.2g}{sign}"


def _outcomes(score: SetScore) -> list[str]:
    head = f"{'OUTCOMES':<16}{'labelled':>9}{'read':>9}{'right':>9}{'precision':>12}{'recall':>10}{'F1':>10}"
    lines = ["", head]
    for one in score.outcomes:
        counts = f"{_words(one.outcome):<16}{one.labelled:>9}{one.read:>9}{one.right:>9}"
        shares = f"{_percent(one.precision):>12}{_percent(one.recall):>10}{_percent(one.f1):>10}"
        lines.append(counts + shares)
    return lines


def _kinds(score: SetScore) -> list[str]:
    wide = max([len("KIND OF LANGUAGE"), *(min(len(kind.kind), 28) for kind in score.kinds)]) + 2
    lines = ["", f"{'KIND OF LANGUAGE':<{wide}}{'right':>7}{'of':>6}{'mention F1':>13}{'false settled':>16}"]
    for kind in score.kinds:
        start = f"{kind.kind[:28]:<{wide}}{kind.entries.right:>7}{kind.entries.of:>6}"
        lines.append(f"{start}{_percent(kind.mention_f1):>13}{kind.false_settlements:>16}")
    return lines


def _confusions(score: SetScore) -> list[str]:
    wrong = [pair for pair in score.confusion if pair.labelled != pair.read]
    lines = ["", "CONFUSIONS, WORST FIRST"] if wrong else []
    for pair in wrong:
        lines.append(f"{pair.count:>6}  {_words(pair.labelled)} read as {_words(pair.read)}")
    return lines


def _misreadings(found: Sequence[Misreading], worst: int, title: str) -> list[str]:
    """The worst misreadings; checks that one cause misreads in the same way stand together."""
    groups = [list(some) for _, some in groupby(found, key=_cause)]
    shown = groups[:worst]
    if not shown:
        return []
    of_all = f"{len(shown)} of {len(groups)}" if len(shown) < len(groups) else f"{len(groups)}"
    lines = ["", f"{title} ({of_all})"]
    for some in shown:
        lines += ["", *_misreading(some)]
    return lines


def _cause(one: Misreading) -> tuple[str, ...]:
    alone = "" if one.what == "outcome" else one.subject
    return one.what, one.place, one.labelled, one.read, one.why, alone


def _misreading(some: Sequence[Misreading]) -> Iterator[str]:
    first = some[0]
    subjects = ", ".join(one.subject for one in some)
    costly = " (false settlement)" if first.false_settlement else ""
    head = f"{first.what} {subjects}: {_words(first.labelled)} read as {_words(first.read)}{costly}"
    yield from wrapped(head, "    ", first="  ")
    yield from wrapped(f"{first.place}; {first.kind}", "    ")
    if first.quote:
        yield from wrapped(quoted(first.quote, 3 * WIDTH), "     ", first="    ")
    yield from wrapped(f"why: {quoted(first.why, _MOST_OF_A_REASON)[1:-1]}", "      ", first="    ")


def _without_punctuation(score: Score, raw: SetScore, worst: int) -> list[str]:
    head = (
        f"{'WITHOUT PUNCTUATION AND CAPITALS':<{_LABEL_WIDTH}}{'written':>10}{'raw':>10}{'points lost':>14}"
    )
    lines = ["", head]
    for loss in score.lost:
        numbers = f"{_percent(loss.written):>10}{_percent(loss.raw):>10}{loss.points_lost:>14.2f}"
        lines.append(f"{loss.measure:<{_LABEL_WIDTH}}{numbers}")
    known = {(one.place, one.what, one.subject, one.read) for one in score.written.misreadings}
    new = [one for one in raw.misreadings if (one.place, one.what, one.subject, one.read) not in known]
    return lines + _misreadings(new, worst, "MISREAD ONLY WITHOUT PUNCTUATION")


def _words(outcome: str) -> str:
    return outcome.replace("_", " ")
