"""The recogniser's pronouncing dictionary as a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.errors import EngineError
from voicenotes.vocabulary.pronunciation import english_sounds, in_dictionary, pronunciations

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path


def write_dictionary(words: Iterable[str], given: Mapping[str, tuple[str, ...]], path: Path) -> list[str]:
    """Write the recogniser's dictionary for `words`, variants as "word(2)"; returns the words left out.

    Words are left out only when nothing in them can be spoken. Raises EngineError when the file can't be
    written.
    """
    english = english_sounds()
    lines, silent = [], []
    for word in sorted(set(words)):
        sounds = pronunciations(word, given, in_dictionary, english)
        sounds = tuple(dict.fromkeys((*sounds, *english.reduced.get(word, ()))))
        if not sounds:
            silent.append(word)
        for number, transcription in enumerate(sounds, start=1):
            name = word if number == 1 else f"{word}({number})"
            lines.append(f"{name} {transcription}")
    try:
        path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    except OSError as error:
        raise EngineError(f"can't write the dictionary {path}: {error.strerror}") from error
    return silent
