"""Every error that voicenotes raises on purpose.

VoicenotesError
├── PackError        a vocabulary pack that can't be used; names file and line
├── RecordingError   one recording that can't be read; the others go on
├── EngineError      a speech engine or its model that can't be used
├── VisitError       a visit folder that can't be processed at all
│   ├── NoRoomError  nothing more can be written there: its disk is full, or the folder is gone
│   └── BusyError    another process works on the visit
├── MicrophoneError  a microphone that isn't there, or is there no more
├── BacklogError     a cluster of workers that can't be used
├── LabelError       a set of labelled sentences or visits that can't be scored
├── LearningError    a suggestion that isn't there, or would do harm; additions that can't be written
└── SheetError       a page to print that can't be set

Each message is one line: what is wrong, and what to do about it.
"""

from __future__ import annotations


class VoicenotesError(Exception):
    """Base of all errors whose message is meant for the person at the keyboard."""


class PackError(VoicenotesError):
    """A pack's data is missing, malformed or inconsistent."""


class RecordingError(VoicenotesError):
    """A single recording can't be read."""


class EngineError(VoicenotesError):
    """A speech engine can't be loaded or its model isn't on this machine."""


class VisitError(VoicenotesError):
    """A visit folder can't be processed."""


class NoRoomError(VisitError):
    """Nothing more can be written to a folder: its disk is full, or it is no longer there."""


class BusyError(VisitError):
    """Another process works on the visit just now."""


class MicrophoneError(VoicenotesError):
    """A microphone can't be opened, or is there no more."""


class BacklogError(VoicenotesError):
    """A scheduler or its workers can't be reached, or can't do the work."""


class LabelError(VoicenotesError):
    """A set of labelled sentences or visits is missing, empty or can't be scored."""


class LearningError(VoicenotesError):
    """A suggestion isn't there or would do harm, or additions to a pack can't be written."""


class SheetError(VoicenotesError):
    """A page to print can't be set from its template and data."""


def without_name(error: RecordingError, name: str) -> str:
    """The error's line without the file name before it, for where the name has a place of its own."""
    return str(error).removeprefix(f"{name}: ")
