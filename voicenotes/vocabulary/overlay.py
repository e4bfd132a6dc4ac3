"""The user's own additions to a pack: they stand in a folder of his, and the shipped pack stays as it is.

One file for each pack, `<pack id>.yaml`, in `$VOICENOTES_OVERLAYS` or in `overlays` of the user's folder for
settings. Loading a pack lays its file over it: terms of checks, what a recogniser writes instead of a term,
how a word sounds. An addition to what the pack has no more is left out, and a line says so.
"""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import Annotated, TypeVar

from pydantic import AfterValidator, Field

from voicenotes.errors import PackError
from voicenotes.vocabulary.entry import CheckId, Name, Phrase
from voicenotes.vocabulary.pronunciation import VOWEL_SOUNDS
from voicenotes.vocabulary.schema import Check, Entry, Fitting, Pack, Part
from voicenotes.vocabulary.yaml_files import read_yaml, validate_as

OVERLAYS_VARIABLE = "VOICENOTES_OVERLAYS"
MARK_DIGITS = 6
Thing = TypeVar("Thing", Check, Part, Fitting)
# The symbols of CMUdict, without stress.
ARPABET = VOWEL_SOUNDS | frozenset(
    ["B", "CH", "D", "DH", "F", "G", "HH", "JH", "K", "L", "M", "N", "NG", "P", "R", "S", "SH", "T", "TH",
     "V", "W", "Y", "Z", "ZH"]
)  # fmt: skip


def _spoken(sounds: str) -> str:
    """ValueError where something is no symbol of ARPAbet."""
    wrong = [symbol for symbol in sounds.split() if symbol not in ARPABET]
    if wrong or not sounds.split():
        raise ValueError(f"'{sounds}' is no ARPAbet: '{wrong[0] if wrong else ''}' is no sound of it")
    return sounds


PlainPhrase = Annotated[str, Field(pattern=r"^[a-z][a-z' ]*$", max_length=200)]
Spoken = Annotated[str, AfterValidator(_spoken)]
ThingId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*(?:\.[a-z][a-z0-9_]*)?$")]


class LearnedFrom(Entry):
    """What an addition comes from: what was said, seconds into which recording, who corrected it when."""

    visit: str
    recording: str
    start: float
    quote: str
    by: str
    at: str


class AddedTerm(Entry):
    """A term of a check."""

    check: CheckId
    term: Phrase
    learned_from: tuple[LearnedFrom, ...] = ()


class AddedMishearing(Entry):
    """What a recogniser writes where a term was said; `means` are the checks, parts and fittings named."""

    heard: PlainPhrase
    said: PlainPhrase
    means: Annotated[tuple[ThingId, ...], Field(min_length=1)]
    learned_from: tuple[LearnedFrom, ...] = ()


class AddedSounds(Entry):
    """How a word is said: all its transcriptions in ARPAbet, in place of what it would be taken for."""

    word: Annotated[str, Field(pattern=r"^[a-z][a-z']*$", max_length=60)]
    sounds: Annotated[tuple[Spoken, ...], Field(min_length=1, max_length=4)]
    learned_from: tuple[LearnedFrom, ...] = ()


class Overlay(Entry):
    """A file of additions. `declined` are the keys of suggestions that are not to be made again."""

    pack: Name
    terms: tuple[AddedTerm, ...] = ()
    misheard: tuple[AddedMishearing, ...] = ()
    pronunciations: tuple[AddedSounds, ...] = ()
    declined: tuple[str, ...] = ()

    @property
    def adds(self) -> bool:
        """Whether it adds anything to the pack."""
        return bool(self.terms or self.misheard or self.pronunciations)


def overlay_home(folder: str | Path | None = None) -> Path:
    """The folder of overlays: the one given, that of the environment, or the user's own."""
    given = folder or os.environ.get(OVERLAYS_VARIABLE)
    if given:
        return Path(given).expanduser()
    import platformdirs

    return platformdirs.user_config_path("voicenotes", appauthor=False) / "overlays"


def overlay_file(pack_id: str, folder: str | Path | None = None) -> Path:
    """The file of a pack's additions, whether it is there or not."""
    return overlay_home(folder) / f"{pack_id}.yaml"


def read_overlay(path: Path, pack_id: str) -> Overlay:
    """The additions in a file; none where there is no file. Raises PackError naming the file."""
    if not os.path.lexists(path):
        return Overlay(pack=pack_id)
    source = read_yaml(path)
    if not isinstance(source.value, dict):
        raise PackError(
            f"{path}, line 1: is no file of additions to a pack; it begins with 'pack: {pack_id}'"
        )
    overlay = validate_as(source, Overlay)
    if overlay.pack != pack_id:
        raise PackError(
            f"{path}, line {source.line_of(('pack',))}: holds additions to the pack '{overlay.pack}', "
            f"not to '{pack_id}'; name the file {overlay.pack}.yaml"
        )
    return overlay


def with_overlay(pack: Pack, overlay: Overlay, path: Path | str = "additions") -> Pack:
    """The pack with what an overlay adds to it; the pack itself where that is nothing.

    What belongs to a check, part or fitting that the pack lacks is left out, and `notes` of the pack name it.
    """
    things = {check.id for check in pack.checks} | {part.id for part in pack.parts}
    things |= {fitting.id for fitting in pack.head.fittings}
    checks = {check.id for check in pack.checks}
    terms = [added for added in overlay.terms if added.check in checks]
    misheard = [added for added in overlay.misheard if things.intersection(added.means)]
    gone = [(added.term, added.check) for added in overlay.terms if added.check not in checks]
    gone += [(a.heard, thing) for a in overlay.misheard for thing in a.means if thing not in things]
    notes = tuple(
        f"{path}: '{phrase}' is left out, as the pack '{pack.id}' has no '{thing}' any more: take it out"
        for phrase, thing in gone
    )
    sounds = {added.word: added.sounds for added in overlay.pronunciations}
    if not (terms or misheard or sounds):
        return pack.model_copy(update={"notes": pack.notes + notes}) if notes else pack
    of_check: dict[str, list[str]] = {}
    for term in terms:
        of_check.setdefault(term.check, []).append(term.term)
    of_thing: dict[str, list[str]] = {}
    for mishearing in misheard:
        for thing in mishearing.means:
            of_thing.setdefault(thing, []).append(mishearing.heard)
    mark = _mark([of_check, of_thing, sounds])
    head = pack.head.model_copy(
        update={
            "version": f"{pack.version}+own.{mark[:MARK_DIGITS]}",
            "fittings": tuple(_with_misheard(fitting, of_thing) for fitting in pack.head.fittings),
        }
    )
    return pack.model_copy(
        update={
            "head": head,
            "checks": tuple(_with_misheard(_with_terms(c, of_check), of_thing) for c in pack.checks),
            "parts": tuple(_with_misheard(part, of_thing) for part in pack.parts),
            "pronunciations": {**pack.pronunciations, **sounds},
            "digest": hashlib.sha256(f"{pack.digest} {mark}".encode()).hexdigest()[:16],
            "notes": pack.notes + notes,
        }
    )


def _mark(additions: list[object]) -> str:
    """Changes with what is added, and not with where it comes from."""
    return hashlib.sha256(json.dumps(additions, sort_keys=True).encode()).hexdigest()


def _with_terms(check: Check, terms: dict[str, list[str]]) -> Check:
    more = tuple(term for term in terms.get(check.id, ()) if term not in check.terms)
    return check.model_copy(update={"terms": check.terms + tuple(dict.fromkeys(more))}) if more else check


def _with_misheard(thing: Thing, heard: dict[str, list[str]]) -> Thing:
    more = tuple(phrase for phrase in heard.get(thing.id, ()) if phrase not in thing.misheard)
    if not more:
        return thing
    return thing.model_copy(update={"misheard": thing.misheard + tuple(dict.fromkeys(more))})
