"""What corrections suggest, as lines: each suggestion with what it rests on and what it would change."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.wording import count, length, quoted, wrapped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.outputs.suggestion_values import (
        Effect,
        NoSuggestion,
        Occasion,
        OutcomeChange,
        Suggestion,
        Suggestions,
    )

INDENT = " " * 8
FEWEST, MOST_CHANGES, MOST_REGRESSIONS = 3, 6, 3
NOTHING = "No suggestion: no correction in these visits shows a phrase or a word that the pack lacks."


def suggestion_lines(found: Suggestions) -> list[str]:
    """All suggestions, then corrections that suggest nothing with the reason, then how to accept one."""
    lines: list[str] = []
    for note in found.notes:
        lines += wrapped(f"{note}, so that what it says is not among what would change.", "  ", first="")
    if not found.suggestions:
        lines += [*([""] if lines else []), NOTHING]
    for suggestion in found.suggestions:
        lines += [*([""] if lines else []), *_suggestion(suggestion)]
    if found.none:
        lines += ["", f"Nothing is suggested by {count(len(found.none), 'correction')}:"]
        for none in found.none:
            lines += _none(none)
    if found.suggestions:
        first = found.suggestions[0].id
        lines += ["", f"Add to your own: --accept {first}. Turn down for good: --decline {first}."]
    return lines


def _suggestion(suggestion: Suggestion) -> Iterator[str]:
    yield from wrapped(_what(suggestion), INDENT, first=f"  {suggestion.id}  ")
    for occasion in suggestion.occasions[:FEWEST]:
        yield from wrapped(_occasion(occasion), INDENT + "  ", first=f"{INDENT}- ")
    more = len(suggestion.occasions) - FEWEST
    if more > 0:
        yield f"{INDENT}- and {count(more, 'more correction')}"
    for caution in suggestion.cautions:
        yield from wrapped(f"Mind: {caution}.", INDENT)
    if suggestion.effect is not None:
        yield from effect_lines(suggestion.effect)


def _what(suggestion: Suggestion) -> str:
    """What is suggested, in one sentence."""
    things = ", ".join(suggestion.titles or suggestion.means)
    if suggestion.kind == "term":
        return f'the term "{suggestion.phrase}" for {things} ({suggestion.pack})'
    if suggestion.kind == "misheard":
        return f'"{suggestion.phrase}" as heard for "{suggestion.said}", {things} ({suggestion.pack})'
    said = "; ".join(suggestion.sounds[-1:])
    return f'"{suggestion.phrase}" also said like "{suggestion.said}": {said} ({suggestion.pack})'


def _occasion(occasion: Occasion) -> str:
    place = f"{_name(occasion.visit)}, {occasion.recording} {length(occasion.start)}"
    return f"{place}, {quoted(occasion.quote, 90)}: {occasion.corrected} ({occasion.by}, {occasion.at[:10]})"


def effect_lines(effect: Effect) -> Iterator[str]:
    """What would change: in past visits, in labelled sentences, in the remarks themselves."""
    visits = f" in {count(effect.visits, 'visit')}"
    changed = f"Would change {count(len(effect.changes), 'outcome')}{visits}"
    if effect.changes:
        unseen = len(effect.changes) - effect.agree - effect.against
        changed += f" ({effect.agree} as reviewed, {effect.against} against it, {unseen} not reviewed)"
    worse = f"{count(len(effect.regressions), 'regression')} on {count(effect.sentences, 'sentence')}"
    gains = f", {effect.gains} read right at last" if effect.gains else ""
    yield from wrapped(f"{changed}; {worse}{gains}.", INDENT)
    for change in effect.changes[:MOST_CHANGES]:
        yield from wrapped(_change(change), INDENT + "    ", first=f"{INDENT}  ")
    if len(effect.changes) > MOST_CHANGES:
        yield f"{INDENT}  and {len(effect.changes) - MOST_CHANGES} more"
    for worse_one in effect.regressions[:MOST_REGRESSIONS]:
        text = f"{quoted(worse_one.say, 90)}: {worse_one.check} {worse_one.read}, not {worse_one.labelled}"
        yield from wrapped(f"misread: {text}", INDENT + "    ", first=f"{INDENT}  ")
    if effect.remarks:
        understood = f"{effect.understood} of its {count(effect.remarks, 'remark')}"
        yield from wrapped(f"Understood as corrected by itself: {understood}.", INDENT)
    if effect.heard_again:
        yield from wrapped(
            "Speech engines are told of it: the next run of process transcribes the recordings anew.", INDENT
        )


def _change(change: OutcomeChange) -> str:
    outcomes = f"{change.before.replace('_', ' ')} -> {change.after.replace('_', ' ')}"
    if change.reviewed is None:
        reviewed = "not reviewed"
    elif change.reviewed == change.after:
        reviewed = "as reviewed"
    else:
        reviewed = f"AGAINST the review: {change.reviewed.replace('_', ' ')}"
    return f"{_name(change.visit)}: {change.title}: {outcomes}, {reviewed}, {quoted(change.quote, 60)}"


def _none(none: NoSuggestion) -> list[str]:
    return wrapped(f"{_occasion(none.occasion)}: {none.why}", "      ", first="  - ")


def _name(visit: str) -> str:
    from pathlib import PurePath

    return PurePath(visit).name or visit
