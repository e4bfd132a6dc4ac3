"""Suggestions as additions to a pack."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.vocabulary.overlay import AddedMishearing, AddedSounds, AddedTerm, LearnedFrom

if TYPE_CHECKING:
    from collections.abc import Iterable

    from voicenotes.outputs.suggestion_values import Suggestion
    from voicenotes.vocabulary.overlay import Overlay


def with_suggestions(overlay: Overlay, suggestions: Iterable[Suggestion]) -> Overlay:
    """An overlay with some suggestions added behind what stands there; one that is there is not added again.

    What had been declined and is added now is declined no more.
    """
    terms, misheard, sounds = list(overlay.terms), list(overlay.misheard), list(overlay.pronunciations)
    keys = set()
    for suggestion in suggestions:
        origins = _origins(suggestion)
        keys.add(suggestion.key)
        if suggestion.kind == "term":
            for check in suggestion.means:
                if (check, suggestion.phrase) not in {(known.check, known.term) for known in terms}:
                    terms.append(AddedTerm(check=check, term=suggestion.phrase, learned_from=origins))
        elif suggestion.kind == "misheard":
            known = {(one.heard, one.means) for one in misheard}
            if (suggestion.phrase, suggestion.means) not in known:
                misheard.append(
                    AddedMishearing(
                        heard=suggestion.phrase, said=suggestion.said, means=suggestion.means,
                        learned_from=origins,
                    )
                )  # fmt: skip
        else:
            sounds = [one for one in sounds if one.word != suggestion.phrase]
            sounds.append(AddedSounds(word=suggestion.phrase, sounds=suggestion.sounds, learned_from=origins))
    return overlay.model_copy(
        update={
            "terms": tuple(terms),
            "misheard": tuple(misheard),
            "pronunciations": tuple(sounds),
            "declined": tuple(key for key in overlay.declined if key not in keys),
        }
    )


def with_declined(overlay: Overlay, suggestions: Iterable[Suggestion]) -> Overlay:
    """An overlay that remembers that some suggestions are not wanted."""
    keys = dict.fromkeys((*overlay.declined, *(suggestion.key for suggestion in suggestions)))
    return overlay.model_copy(update={"declined": tuple(keys)})


def _origins(suggestion: Suggestion) -> tuple[LearnedFrom, ...]:
    return tuple(
        LearnedFrom(
            visit=_name(occasion.visit), recording=occasion.recording, start=occasion.start,
            quote=occasion.quote, by=occasion.by, at=occasion.at,
        )
        for occasion in suggestion.occasions
    )  # fmt: skip


def _name(folder: str) -> str:
    from pathlib import Path

    return Path(folder).resolve().name
