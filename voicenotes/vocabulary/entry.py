"""The names and phrases that a pack's entries are made of."""

from __future__ import annotations

import re
from math import prod
from typing import Annotated

from pydantic import AfterValidator, StringConstraints

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]
CheckId = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*$")]


# The largest template of the shipped packs stands for 15,360 phrases, and all of a pack for 130,000.
MOST_PHRASES = 20_000
MOST_PHRASES_OF_A_PACK = 1_000_000
_CHOICE = re.compile(r"\(([^()<>]*)\)|<([^()<>]*)>")


def phrase_count(phrase: str) -> int:
    """How many plain phrases a template stands for, without writing them out."""
    return prod(
        choice.count("|") + 1 if option == "" and choice else option.count("|") + 2
        for choice, option in _CHOICE.findall(phrase)
    )


def _countable(phrase: str) -> str:
    """ValueError for a template that stands for more phrases than can be held."""
    if phrase_count(phrase) > MOST_PHRASES:
        raise ValueError(
            f"'{phrase[:60]}' stands for more than {MOST_PHRASES:,} phrases; write fewer choices"
        )
    return phrase


def _balanced(phrase: str) -> str:
    """Choices and options are closed and don't stand in one another; ValueError otherwise."""
    open_now = ""
    for sign in phrase:
        if sign in "(<":
            if open_now:
                raise ValueError(f"'{phrase}': a choice or option stands inside another")
            open_now = sign
        elif sign in ")>":
            if open_now + sign not in ("()", "<>"):
                raise ValueError(f"'{phrase}': '{sign}' closes nothing")
            open_now = ""
    if open_now:
        raise ValueError(f"'{phrase}': '{open_now}' is never closed")
    return phrase


Phrase = Annotated[
    str,
    StringConstraints(pattern=r"^=?[a-z0-9()|<> './%-]+$", min_length=1, max_length=2_000),
    AfterValidator(_balanced),
    AfterValidator(_countable),
]
Phrases = tuple[Phrase, ...]
