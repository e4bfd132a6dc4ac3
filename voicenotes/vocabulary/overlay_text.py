"""A file of additions as text: YAML that a person can read and change."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.vocabulary.overlay import Overlay

HEAD = """# Your own additions to the pack {pack}. `voicenotes suggestions` writes it; change it as you like.
# Remarks like this one are not kept when it is written anew. Check it: voicenotes lint PACK
"""
# What YAML doesn't allow in a text as it stands, beside what JSON writes in digits anyway.
_UNPRINTABLE = re.compile("[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")


def overlay_text(overlay: Overlay) -> str:
    """The file's text, which reads as the same overlay again."""
    lines = [f"pack: {overlay.pack}"]
    for name in ("terms", "misheard", "pronunciations"):
        entries = getattr(overlay, name)
        if entries:
            lines.append(f"{name}:")
        for entry in entries:
            lines += _entry(entry.model_dump(mode="json"))
    if overlay.declined:
        lines += ["declined:", *(f"  - {_scalar(key)}" for key in overlay.declined)]
    return HEAD.format(pack=overlay.pack) + "\n".join(lines) + "\n"


def _entry(values: dict[str, object]) -> Iterator[str]:
    """One addition as an item of a list, where it comes from last, one line each."""
    before = "  - "
    for key, value in values.items():
        if key == "learned_from":
            continue
        text = f"[{', '.join(map(_scalar, value))}]" if isinstance(value, list) else _scalar(value)
        yield f"{before}{key}: {text}"
        before = "    "
    origins = values.get("learned_from")
    if isinstance(origins, list) and origins:
        yield "    learned_from:"
        for origin in origins:
            yield "      - {" + ", ".join(f"{key}: {_scalar(value)}" for key, value in origin.items()) + "}"


def _scalar(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return _UNPRINTABLE.sub(lambda sign: f"\\u{ord(sign[0]):04x}", text)
