"""The names and phrases that a pack's entries are made of."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, StringConstraints

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]
CheckId = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*$")]


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
    str, AfterValidator(_balanced), StringConstraints(pattern=r"^=?[a-z0-9()|<> './%-]+$", min_length=1)
]
Phrases = tuple[Phrase, ...]
