"""The commands on packs and schemas."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from voicenotes.cli.frame import guarded_command, print_json, show


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
) -> None:
    """Check a pack's files, or a cost table; name the file and line of the first fault."""
    from voicenotes.outputs.wording import count
    from voicenotes.vocabulary.lint import checked_sentences
    from voicenotes.vocabulary.load import load_pack

    loaded = load_pack(pack)
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


@guarded_command
def schema(
    name: Annotated[
        str,
        typer.Argument(
            help="record, gap-list, report, explanation, transcript, score, costs, pack, check, part, "
            "aspect, cue, fact, commands, sentence or visit-label."
        ),
    ] = "record",
) -> None:
    """Print the JSON Schema of the record, a report, a transcript, a score, costs or an entry of a pack."""
    from voicenotes.outputs.schemas import schema_of

    print_json(schema_of(name))
