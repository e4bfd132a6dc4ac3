"""The commands on what the reader does: explain a sentence, score labelled ones."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from voicenotes.cli.frame import AsJson, PackName, guarded_command, loaded_pack, print_json, print_lines


@guarded_command
def explain(
    sentence: Annotated[str, typer.Argument(help="What was said, in quotation marks.", show_default=False)],
    pack: PackName = "cnc_lathe",
    as_json: AsJson = False,
) -> None:
    """Show how a sentence is read, and which words decided."""
    from voicenotes.outputs import explanation, terminal
    from voicenotes.outputs.canvas import signs_for
    from voicenotes.outputs.explanation_sheet import explanation_lines

    explained = explanation.explain(sentence, loaded_pack(pack))
    if as_json:
        print_json(explained.model_dump(mode="json"))
    else:
        lines = explanation_lines(explained, terminal.width(), signs_for(sys.stdout.encoding))
        terminal.print_styled(lines, print_lines)


@guarded_command
def score(
    sets: Annotated[
        list[Path],
        typer.Argument(
            metavar="SET...",
            help="Labelled sentences (a YAML file, or a folder of them) or labelled visits.",
            show_default=False,
        ),
    ],
    pack: PackName = "cnc_lathe",
    raw: Annotated[
        bool, typer.Option("--raw", help="Also read without punctuation and capitals; say what that loses.")
    ] = False,
    as_json: AsJson = False,
    worst: Annotated[int, typer.Option(min=0, metavar="N", help="How many misreadings to show.")] = 10,
) -> None:
    """Count how well labelled sentences and visits are read."""
    from voicenotes.outputs.score_sheet import score_lines
    from voicenotes.scoring import score_sets

    scored = score_sets(sets, loaded_pack(pack), raw)
    if as_json:
        print_json(scored.model_dump(mode="json"))
    else:
        print_lines(score_lines(scored, worst))
