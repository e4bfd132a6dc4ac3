"""Checks labels against a pack: that they parse and name only what it has."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.errors import PackError
from voicenotes.vocabulary.homes import pack_folder
from voicenotes.vocabulary.labels import LabelledSentence, VisitLabel, faults_of
from voicenotes.vocabulary.yaml_files import read_yaml, validate_as

if TYPE_CHECKING:
    from pathlib import Path

    from voicenotes.vocabulary.labels import Label, Where
    from voicenotes.vocabulary.schema import Pack
    from voicenotes.vocabulary.yaml_files import YamlFile


def checked_sentences(name_or_folder: str | Path, pack: Pack) -> list[LabelledSentence]:
    """The pack's labelled sentences; PackError with file and line for the first that can't be right."""
    files = sorted((pack_folder(name_or_folder) / "sentences").glob("*.yaml"))
    return [sentence for file in files for _, sentence in checked_file(file, pack)]


def checked_file(path: Path, pack: Pack) -> list[tuple[int, LabelledSentence]]:
    """The labelled sentences of one file, each with its line; PackError as for `checked_sentences`.

    A file with nothing in it gives none.
    """
    source = read_yaml(path)
    if source.value is None:
        return []
    if not isinstance(source.value, list):
        raise PackError(f"{path}, line 1: is no list of labelled sentences; begin each with '- say:'")
    found = []
    for index, sentence in enumerate(validate_as(source, tuple[LabelledSentence, ...])):
        _refuse_faults(source, (index,), sentence, pack)
        found.append((source.line_of((index,)), sentence))
    return found


def checked_visit_label(path: Path, pack: Pack) -> VisitLabel:
    """The label of a visit; PackError with file and line for the first thing that can't be right."""
    source = read_yaml(path)
    if not isinstance(source.value, dict):
        raise PackError(f"{path}, line 1: is no label of a visit; it has expect, fittings, facts and so on")
    label = validate_as(source, VisitLabel)
    _refuse_faults(source, (), label, pack)
    return label


def _refuse_faults(source: YamlFile, where: Where, label: Label, pack: Pack) -> None:
    for inside, fault in faults_of(label, pack):
        raise PackError(f"{source.path}, line {source.line_of((*where, *inside))}: {fault}")
