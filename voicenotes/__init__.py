"""Spoken inspection notes in, a findings record and a gap list out.

Importing this package is cheap; each of the names below loads what it needs when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from voicenotes.findings.read import read_text
    from voicenotes.scoring import score_sets
    from voicenotes.visit import process_visit
    from voicenotes.vocabulary.load import load_pack

__version__ = "0.1.0"
__all__ = ["load_pack", "process_visit", "read_text", "score_sets"]

_HOMES = {
    "load_pack": "voicenotes.vocabulary.load",
    "process_visit": "voicenotes.visit",
    "read_text": "voicenotes.findings.read",
    "score_sets": "voicenotes.scoring",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'voicenotes' has no attribute {name!r}")
