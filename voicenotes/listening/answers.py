"""What is answered to commands, and what is said aloud of trouble: short lines for the ear."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.listening.live_record import open_at
from voicenotes.outputs.wording import count, in_a_list, minutes

if TYPE_CHECKING:
    from voicenotes.listening.live_record import Brought
    from voicenotes.model import Record
    from voicenotes.vocabulary.schema import Pack

MOST_NAMED = 3


def answer(brought: Brought, record: Record, station: str | None, pack: Pack) -> str:
    """The spoken answer to a command."""
    assert brought.command
    does = brought.command.does
    if does == "open_here":
        return _open_here(record, station, pack)
    if does == "open_in_all":
        return _open_in_all(record)
    if does == "take_back":
        return f"Taken back: {', '.join(brought.took_back)}." if brought.took_back else "Taken back."
    return "Marked." if does == "mark" else "Listening ends."


def _open_here(record: Record, station: str | None, pack: Pack) -> str:
    titles = {place.id: place.title for place in pack.head.stations}
    if station is None:
        return "Say where you are first."
    waiting = open_at(record, station)
    if not waiting:
        return f"Nothing open at {in_a_list(titles[station])}."
    names = [in_a_list(check.title) for check in waiting[:MOST_NAMED]]
    more = f", and {len(waiting) - MOST_NAMED} more" if len(waiting) > MOST_NAMED else ""
    return f"{len(waiting)} open at {in_a_list(titles[station])}: {', '.join(names)}{more}."


def _open_in_all(record: Record) -> str:
    gaps = {gap.id for gap in record.gaps}
    waiting = [check for check in record.checks if check.id in gaps]
    if not waiting:
        return "Nothing is open."
    must = sum(check.must_before_leaving for check in waiting)
    time = minutes(sum(check.minutes for check in waiting)).removesuffix("min")
    pressing = f"{must} before leaving" if must else "none before leaving"
    return f"{count(len(waiting), 'check')} open, {pressing}, about {time}minutes."
