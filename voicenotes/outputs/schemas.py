"""JSON Schemas of what is printed and of what is read, from the models."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, TypeAdapter

from voicenotes.errors import VoicenotesError
from voicenotes.findings.gap_values import GapList
from voicenotes.findings.score_values import Score
from voicenotes.model import Record, Transcript
from voicenotes.outputs.explanation import Explanation
from voicenotes.outputs.report_values import Report
from voicenotes.outputs.suggestion_values import Suggestions
from voicenotes.vocabulary.commands import Commands
from voicenotes.vocabulary.costs import CostTable
from voicenotes.vocabulary.labels import LabelledSentence, VisitLabel
from voicenotes.vocabulary.overlay import Overlay
from voicenotes.vocabulary.schema import Aspect, Check, Cue, Fact, PackHead, Part

DRAFT = "https://json-schema.org/draft/2020-12/schema"
# One entry of each kind; a pack's files other than pack.yaml hold lists of these.
_ONE: dict[str, type[BaseModel]] = {
    "record": Record,
    "explanation": Explanation,
    "transcript": Transcript,
    "pack": PackHead,
    "check": Check,
    "part": Part,
    "aspect": Aspect,
    "cue": Cue,
    "fact": Fact,
    "commands": Commands,
    "sentence": LabelledSentence,
    "visit-label": VisitLabel,
    "score": Score,
    "gap-list": GapList,
    "report": Report,
    "costs": CostTable,
    "overlay": Overlay,
    "suggestions": Suggestions,
}
_FILES: dict[str, Any] = {
    "checks-file": tuple[Check, ...],
    "parts-file": tuple[Part, ...],
    "aspects-file": tuple[Aspect, ...],
    "cues-file": tuple[Cue, ...],
    "facts-file": tuple[Fact, ...],
    "sentences-file": tuple[LabelledSentence, ...],
}
SCHEMAS = (*_ONE, *_FILES)


def schema_of(name: str) -> dict[str, Any]:
    """The JSON Schema called `name`, one of SCHEMAS; VoicenotesError for any other name."""
    if name not in SCHEMAS:
        raise VoicenotesError(f"there is no schema '{name}'; choose one of {', '.join(SCHEMAS)}")
    kind = _ONE.get(name) or _FILES[name]
    return {"$schema": DRAFT, **TypeAdapter(kind).json_schema()}
