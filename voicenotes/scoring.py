"""The story of a score: find labelled sentences and visits, read them, count how well that went."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.errors import LabelError, VisitError
from voicenotes.files import RECORD_FILE, natural_key
from voicenotes.findings.labelled_cases import Case, sentence_case
from voicenotes.findings.score import losses, score_cases
from voicenotes.findings.score_values import Score
from voicenotes.model import PackStamp
from voicenotes.visit import load_record, ready_recordings
from voicenotes.vocabulary.labels import LABEL_FILE
from voicenotes.vocabulary.lint import checked_file, checked_visit_label
from voicenotes.vocabulary.load import load_pack

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.vocabulary.schema import Pack

_YAML = (".yaml", ".yml")


def score_sets(
    sets: str | Path | Sequence[str | Path], pack: str | Path | Pack = "cnc_lathe", raw: bool = False
) -> Score:
    """Read labelled sentences and visits, and count how well that went.

    Each of `sets` is a YAML file of labelled sentences, a folder of such files or of labelled visits, a
    labelled visit (a folder with `expected.yaml` and either `record.json` or ready transcripts), or a pack's
    folder, of which its own sentences are taken. `raw` also reads everything without punctuation and
    capitals, and says what that loses. Nothing is written.
    Raises LabelError, PackError or VisitError for what can't be scored.
    """
    loaded = load_pack(pack) if isinstance(pack, (str, Path)) else pack
    given = [Path(sets)] if isinstance(sets, (str, Path)) else [Path(one) for one in sets]
    if not given:
        raise LabelError("no set to score: name a file of labelled sentences, a folder, or a labelled visit")
    cases = _cases_of(given, loaded)
    if raw:
        _must_be_readable_again(cases)
    written = score_cases(cases, loaded)
    without = score_cases(cases, loaded, raw=True) if raw else None
    return Score(
        pack=PackStamp(id=loaded.id, version=loaded.version),
        sets=tuple(str(path) for path in given),
        notes=tuple(_notes(cases)),
        written=written,
        raw=without,
        lost=losses(written, without) if without else (),
    )


def _cases_of(sets: Sequence[Path], pack: Pack) -> list[Case]:
    """All cases of all sets in order; what stands in two of them counts once."""
    cases, seen = [], set()
    for one in sets:
        found = []
        for path in _files_and_visits(one.expanduser()):
            again = path.resolve() in seen
            seen.add(path.resolve())
            some = _visit_cases(path, pack) if path.is_dir() else _sentence_cases(path, pack)
            found += some
            cases += [] if again else some
        if not found:
            raise LabelError(f"{one}: holds no labelled sentences; write some, each beginning with '- say:'")
    return cases


def _files_and_visits(path: Path) -> Iterator[Path]:
    """The files of labelled sentences and the folders of labelled visits that a set consists of."""
    if not path.exists():
        raise LabelError(
            f"{path}: no such file or folder; name a set of labelled sentences or a labelled visit"
        )
    if path.name == LABEL_FILE:
        yield path.parent
    elif not path.is_dir() or (path / LABEL_FILE).is_file():
        yield path
    else:
        folder = path / "sentences" if (path / "pack.yaml").is_file() else path
        for inside in sorted(folder.glob("*"), key=lambda found: natural_key(found.name)):
            visit = inside.is_dir() and (inside / LABEL_FILE).is_file()
            if visit or (inside.is_file() and inside.suffix.lower() in _YAML):
                yield inside


def _sentence_cases(path: Path, pack: Pack) -> list[Case]:
    return [sentence_case(f"{path}, line {line}", said) for line, said in checked_file(path, pack)]


def _visit_cases(folder: Path, pack: Pack) -> list[Case]:
    """A labelled visit as one case: its record as it stands, or its ready transcripts to be read."""
    label = checked_visit_label(folder / LABEL_FILE, pack)
    if not (folder / RECORD_FILE).exists():
        return [Case(str(folder), label, tuple(ready_recordings(folder)))]
    record = load_record(folder)
    if record.pack.id != pack.id:
        raise VisitError(f"{folder}: was read with the pack '{record.pack.id}', not with '{pack.id}'")
    if [finding.id for finding in record.checks] != [check.id for check in pack.checks]:
        raise VisitError(
            f"{folder}: its record has other checks than the pack '{pack.id}' has now; process it again"
        )
    return [Case(str(folder), label, tuple((entry, None) for entry in record.recordings), record)]


def _must_be_readable_again(cases: Sequence[Case]) -> None:
    for case in cases:
        if case.record is not None:
            raise LabelError(
                f"{case.place}: its {RECORD_FILE} can't be read again without punctuation; "
                "leave this visit out, or --raw"
            )


def _notes(cases: Sequence[Case]) -> Iterator[str]:
    for case in cases:
        for entry, _ in case.recordings:
            if entry.problem:
                yield f"{case.place}: {entry.file}: {entry.problem}"
