"""The commands on packs and schemas."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from voicenotes.cli.frame import guarded_command, loaded_pack, print_json, show


@guarded_command
def packs() -> None:
    """List the packs that came with voicenotes."""
    from voicenotes.vocabulary.homes import pack_folder, shipped_packs
    from voicenotes.vocabulary.schema import PackHead
    from voicenotes.vocabulary.yaml_files import read_as

    for name in shipped_packs():
        head = read_as(pack_folder(name) / "pack.yaml", PackHead)
        show(f"{name}  {head.title}, version {head.version}, {len(head.stations)} stations")


@guarded_command
def lint(
    pack: Annotated[str, typer.Argument(help="A pack's name or folder.", show_default=False)],
    costs: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Check this table of repair costs against the pack.", show_default=False
        ),
    ] = None,
    overlay: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Check this file of additions to the pack.", show_default=False),
    ] = None,
) -> None:
    """Check a pack's files and your additions to it, or a cost table; name file and line of a fault."""
    from voicenotes.outputs.wording import count
    from voicenotes.vocabulary.lint import checked_sentences

    if overlay:
        _lint_overlay(overlay, pack)
        return
    loaded = loaded_pack(pack)
    if costs:
        from voicenotes.vocabulary.costs import lacking_costs, read_costs

        lacking = lacking_costs(read_costs(costs, loaded), loaded)
        without = f"; no price for a defect of {count(len(lacking), 'check')}" if lacking else ""
        show(f"{costs}: no faults{without}")
        for title in lacking:
            show(f"  {title}")
        return
    sentences = checked_sentences(pack, loaded)
    show(
        f"{loaded.id}: {len(loaded.checks)} checks at {len(loaded.head.stations)} stations, "
        f"{count(len(sentences), 'labelled sentence')}, no faults"
    )


def _lint_overlay(path: Path, pack: str) -> None:
    """Say what a file of additions adds, and what of it the pack has no place for."""
    from voicenotes.errors import PackError
    from voicenotes.outputs.wording import count
    from voicenotes.vocabulary.load import load_shipped_pack
    from voicenotes.vocabulary.overlay import read_overlay, with_overlay

    shipped = load_shipped_pack(pack)
    if not path.is_file():
        raise PackError(f"{path}: no such file; name the file that holds additions to '{shipped.id}'")
    added = read_overlay(path, shipped.id)
    for line in with_overlay(shipped, added, path).notes:
        show(line, err=True)
    show(
        f"{path}: {count(len(added.terms), 'term')}, {count(len(added.misheard), 'mishearing')}, "
        f"{count(len(added.pronunciations), 'pronunciation')}, {len(added.declined)} declined; no faults"
    )


@guarded_command
def schema(
    name: Annotated[
        str,
        typer.Argument(
            help="record, gap-list, report, explanation, transcript, score, costs, pack, check, part, "
            "aspect, cue, fact, commands, sentence, visit-label, overlay or suggestions."
        ),
    ] = "record",
) -> None:
    """Print the JSON Schema of the record, a report, a transcript, a score, costs or an entry of a pack."""
    from voicenotes.outputs.schemas import schema_of

    print_json(schema_of(name))
