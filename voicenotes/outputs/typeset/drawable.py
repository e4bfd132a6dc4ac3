"""Which characters the PDF's fonts can draw; the others are shown as their codes, so that none is lost."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Any

DRAWN_FILE = Path(__file__).with_name("drawable.txt")
NOTE = "Signs that the fonts of this PDF lack stand as codes, such as [U+65E5]; the HTML report shows them."


def drawable(text: str) -> str:
    """Text as the PDF can show it: "[U+65E5 U+672C]" for what no font has a sign for."""
    composed = unicodedata.normalize("NFC", text)
    return _undrawable().sub(lambda found: _codes(found[0]), composed)


def all_drawable(data: Any) -> Any:
    """The same structure of mappings, lists and plain values with every text made drawable."""
    if isinstance(data, str):
        return drawable(data)
    if isinstance(data, dict):
        return {key: all_drawable(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [all_drawable(value) for value in data]
    return data


def spans() -> list[tuple[int, int]]:
    """First and last code point of each range that can be drawn."""
    lines = DRAWN_FILE.read_text(encoding="utf-8").splitlines()
    tokens = [token for line in lines if not line.startswith("#") for token in line.split()]
    pairs = [token.partition("-") for token in tokens]
    return [(int(first, 16), int(last or first, 16)) for first, _, last in pairs]


@lru_cache
def _undrawable() -> re.Pattern[str]:
    drawn = "".join(f"{re.escape(chr(first))}-{re.escape(chr(last))}" for first, last in spans())
    return re.compile(f"[^\\s{drawn}]+")


def _codes(text: str) -> str:
    """Codes of the characters; marks without a sign of their own (joiners, selectors) are left out."""
    shown = [char for char in text if unicodedata.category(char) != "Cf" and not "\ufe00" <= char <= "\ufe0f"]
    return f"[{' '.join(f'U+{ord(char):04X}' for char in shown)}]" if shown else ""
