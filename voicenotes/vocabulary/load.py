"""Loads a pack from its folder, together with the English that all packs share."""

from __future__ import annotations

import hashlib
from pathlib import Path

from pydantic import BaseModel

from voicenotes.errors import PackError
from voicenotes.vocabulary.commands import Commands, check_commands
from voicenotes.vocabulary.entry import MOST_PHRASES_OF_A_PACK, phrase_count
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, pack_folder, vocab_home
from voicenotes.vocabulary.labels import LabelledSentence
from voicenotes.vocabulary.overlay import overlay_file, read_overlay, with_overlay
from voicenotes.vocabulary.schema import (
    Aspect,
    Check,
    Cue,
    Fact,
    Pack,
    PackHead,
    Part,
)
from voicenotes.vocabulary.yaml_files import read_as, read_yaml, validate_as


def load_pack(name_or_folder: str | Path, overlays: str | Path | None = None) -> Pack:
    """Load a shipped pack by name, or one's own by folder, with the user's additions to it.

    `overlays` is the folder that these stand in, if it is not the usual one. Raises PackError with file and
    line for the first thing that is malformed or names something that the pack does not have.
    """
    pack = load_shipped_pack(name_or_folder)
    path = overlay_file(pack.id, overlays)
    overlay = read_overlay(path, pack.id)
    whole = with_overlay(pack, overlay, path)
    if overlay.adds:
        _check_size(path, (whole.head, whole.checks, whole.parts))
    return whole


def load_shipped_pack(name_or_folder: str | Path) -> Pack:
    """The pack as its folder has it, without the user's additions; errors as for `load_pack`."""
    folder = pack_folder(name_or_folder)
    english = vocab_home() / SHARED_LANGUAGE
    head = read_as(folder / "pack.yaml", PackHead)
    checks = _load_checks(folder, head)
    parts = read_as(folder / "parts.yaml", tuple[Part, ...])
    aspects = read_as(english / "judgements.yaml", tuple[Aspect, ...])
    aspects += read_as(folder / "aspects.yaml", tuple[Aspect, ...])
    facts = read_as(folder / "facts.yaml", tuple[Fact, ...])
    _check_names(folder, head, checks, parts, aspects, facts)
    _check_risks(folder, head, checks)
    cues = read_as(english / "cues.yaml", tuple[Cue, ...])
    if (folder / "cues.yaml").is_file():
        cues += read_as(folder / "cues.yaml", tuple[Cue, ...])
    commands = read_as(english / "commands.yaml", Commands)
    retracting = [phrase for cue in cues if cue.kind == "retract" for phrase in cue.phrases]
    check_commands(commands, retracting, english / "commands.yaml")
    pronunciations: dict[str, tuple[str, ...]] = {}
    carriers: tuple[str, ...] = ()
    if (folder / "pronunciations.yaml").is_file():
        pronunciations = read_as(folder / "pronunciations.yaml", dict[str, tuple[str, ...]])
    for home in (english, folder):
        if (home / "carriers.yaml").is_file():
            carriers += read_as(home / "carriers.yaml", tuple[str, ...])
    _check_size(folder, (head, checks, parts, aspects, facts, cues, commands))
    return Pack(
        head=head, checks=checks, parts=parts, aspects=aspects, facts=facts, cues=cues,
        pronunciations=pronunciations, carriers=carriers, commands=commands, home=str(folder),
        digest=_digest(folder, english),
    )  # fmt: skip


def load_sentences(name_or_folder: str | Path) -> list[tuple[str, int, LabelledSentence]]:
    """The pack's labelled sentences with the file (without suffix) and line each stands at."""
    folder = pack_folder(name_or_folder)
    found = []
    for path in sorted((folder / "sentences").glob("*.yaml")):
        source = read_yaml(path)
        for index, sentence in enumerate(validate_as(source, tuple[LabelledSentence, ...])):
            found.append((path.stem, source.line_of((index,)), sentence))
    return found


def _load_checks(folder: Path, head: PackHead) -> tuple[Check, ...]:
    """The checks of `checks/<station>.yaml`, in walking order of the stations."""
    checks: list[Check] = []
    for station in head.stations:
        path = folder / "checks" / f"{station.id}.yaml"
        source = read_yaml(path)
        for index, check in enumerate(validate_as(source, tuple[Check, ...])):
            if check.station != station.id:
                line = source.line_of((index, "id"))
                raise PackError(f"{path}, line {line}: {check.id} is not of station {station.id}")
            checks.append(check)
    return tuple(checks)


def _check_names(
    folder: Path,
    head: PackHead,
    checks: tuple[Check, ...],
    parts: tuple[Part, ...],
    aspects: tuple[Aspect, ...],
    facts: tuple[Fact, ...],
) -> None:
    """Every id is there once, and every reference leads somewhere."""
    known: dict[str, set[str]] = {}
    for kind, ids in (
        ("station", [station.id for station in head.stations]),
        ("check", [check.id for check in checks]),
        ("part", [part.id for part in parts] + [fitting.id for fitting in head.fittings]),
        ("fitting", [fitting.id for fitting in head.fittings]),
        ("aspect", [aspect.id for aspect in aspects]),
        ("fact", [fact.id for fact in facts]),
    ):
        twice = sorted({name for name in ids if ids.count(name) > 1})
        if twice:
            raise PackError(f"{folder}: {kind} '{twice[0]}' is defined twice")
        known[kind] = set(ids)
    for check in checks:
        where = f"{folder / 'checks' / check.station}.yaml: {check.id}"
        _must_know(where, "part", check.parts, known)
        _must_know(where, "aspect", check.aspects, known)
        _must_know(where, "fact", check.notes, known)
        _must_know(where, "fitting", (check.fitting,) if check.fitting else (), known)
    for part in parts:
        where = f"{folder / 'parts.yaml'}: {part.id}"
        _must_know(where, "part", part.means, known)
        _must_know(where, "check", (part.default,) if part.default else (), known)
    for fitting in head.fittings:
        _must_know(
            f"{folder / 'pack.yaml'}: {fitting.id}", "check",
            (fitting.default,) if fitting.default else (), known,
        )  # fmt: skip


def _check_risks(folder: Path, head: PackHead, checks: tuple[Check, ...]) -> None:
    """A pack that weighs risks weighs all of them: PackError for the first check or fitting without."""
    if head.risk is None:
        return
    for check in checks:
        if check.likely is None:
            raise PackError(
                f"{folder / 'checks' / check.station}.yaml: {check.id} lacks 'likely' (rare, occasional or "
                "common), which 'risk' in pack.yaml asks of every check"
            )
    for fitting in head.fittings:
        if fitting.share is None:
            raise PackError(
                f"{folder / 'pack.yaml'}: {fitting.id} lacks 'share' (0 to 1, of the machines that have it), "
                "which 'risk' asks of every fitting"
            )


def _check_size(folder: Path, entries: object) -> None:
    """PackError when the templates of all entries together stand for more phrases than can be held."""
    count, waiting = 0, [entries]
    while waiting:
        value = waiting.pop()
        if isinstance(value, BaseModel):
            waiting += [getattr(value, name) for name in type(value).model_fields]
        elif isinstance(value, dict):
            waiting += value.values()
        elif isinstance(value, (tuple, list)):
            waiting += value
        elif isinstance(value, str):
            count += phrase_count(value)
        if count > MOST_PHRASES_OF_A_PACK:
            raise PackError(
                f"{folder}: its phrases stand for more than {MOST_PHRASES_OF_A_PACK:,}; write fewer choices"
            )


def _must_know(where: str, kind: str, names: tuple[str, ...], known: dict[str, set[str]]) -> None:
    for name in names:
        if name not in known[kind]:
            raise PackError(f"{where}: there is no {kind} '{name}' in this pack")


def _digest(folder: Path, english: Path) -> str:
    """A fingerprint of all the files that the reader and the speech engines use."""
    digest = hashlib.sha256()
    for home in (english, folder):
        for path in sorted(home.rglob("*")):
            if path.is_file() and "sentences" not in path.relative_to(home).parts:
                digest.update(path.relative_to(home).as_posix().encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
