"""The commands that listen: `listen` to a microphone, list and try the `microphones`."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from voicenotes.cli.frame import (
    SOME_UNREAD,
    Engine,
    EngineName,
    ModelName,
    PackName,
    guarded_command,
    loaded_pack,
    print_lines,
    show,
)
from voicenotes.cli.progress import progress_shown
from voicenotes.errors import MicrophoneError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.listening.session import Session
    from voicenotes.listening.sources import Source
    from voicenotes.model import Record
    from voicenotes.vocabulary.schema import Pack

LOOK_S = 0.2


@guarded_command
def listen(
    visit: Annotated[Path, typer.Argument(help="Folder of the visit; made if missing.", show_default=False)],
    pack: PackName = "cnc_lathe",
    microphone: Annotated[
        str | None,
        typer.Option(
            metavar="NAME_OR_NUMBER", help="The microphone, if not the system's.", show_default=False
        ),
    ] = None,
    silent: Annotated[bool, typer.Option("--silent", help="No answers aloud, no tones.")] = False,
    engine: EngineName = Engine.auto,
    model: ModelName = None,
    play: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE", help="Listen to a recording in place of a microphone.", show_default=False
        ),
    ] = None,
    speed: Annotated[float, typer.Option(min=0, help="How fast to play; 0 for no waiting.")] = 1.0,
) -> None:
    """Listen to a microphone, record, transcribe and read while he talks; obey spoken commands."""
    from voicenotes.listening.aloud import Aloud, Silent
    from voicenotes.listening.begin import listening_in
    from voicenotes.listening.microphone import Microphone
    from voicenotes.listening.session import Session
    from voicenotes.listening.sources import Playback

    loaded = loaded_pack(pack)
    source: Source = Playback(play, speed) if play else Microphone(microphone)
    with progress_shown(False) as (progress, say):
        begun = listening_in(visit, loaded, engine.value, model, progress, say)
        folder, ear, recordings = begun.__enter__()
    aloud = Silent() if silent else Aloud()
    with contextlib.ExitStack() as ending:
        ending.push(begun.__exit__)
        if aloud.problem:
            show(aloud.problem, err=True)
        on_terminal = sys.stdout.isatty()
        session = Session(
            folder, loaded, ear, source, aloud, recordings, (lambda _: None) if on_terminal else _told
        )
        with _interrupts(session), _libraries_quiet():
            session.start()
            (_watched if on_terminal else _waited)(session)
        aloud.end(2.0)
    if session.fault:
        raise session.fault
    _ended(visit, loaded, engine, model)


@guarded_command
def microphones(
    test: Annotated[
        str | None,
        typer.Option(metavar="NAME_OR_NUMBER", help="Show the level of this one.", show_default=False),
    ] = None,
    seconds: Annotated[float, typer.Option(min=1, help="For how long to show it.")] = 10.0,
) -> None:
    """List the microphones of this machine, or try one with a level meter."""
    from voicenotes.listening import microphone
    from voicenotes.listening.sources import level_dbfs
    from voicenotes.outputs.canvas import PLAIN, signs_for
    from voicenotes.outputs.live_screen import level_line

    if test is None:
        found = microphone.microphones()
        if not found:
            raise MicrophoneError("no microphone is on this machine: plug one in, then try again")
        for device in found:
            show(f"{device.number:>3}  {device.name}{'  (default)' if device.is_default else ''}")
        return
    source = microphone.Microphone(test)
    show(f"{source.name}: speak as you will at the machine.")
    drawn = signs_for(sys.stdout.encoding) is not PLAIN
    ends = time.monotonic() + seconds
    loudest, told = -90.0, 0.0
    for block in source.blocks():
        loudest = max(loudest, level_dbfs(block))
        if time.monotonic() - told > LOOK_S:
            told = time.monotonic()
            line = level_line(loudest, 80, drawn)
            typer.echo(f"\r{line:<79}" if sys.stdout.isatty() else line, nl=not sys.stdout.isatty())
            loudest = -90.0
        if time.monotonic() > ends:
            source.stop()
    if sys.stdout.isatty():
        typer.echo("")


@contextlib.contextmanager
def _interrupts(session: Session) -> Iterator[None]:
    """Ctrl-C, and a request to end, stop the recording and let the rest be read; another ends at once."""

    def stop(*_: object) -> None:
        if session.view.is_ending:
            session.abandon()
        session.stop()

    signals = [s for name in ("SIGINT", "SIGTERM", "SIGHUP") if (s := getattr(signal, name, None))]
    before = {each: signal.signal(each, stop) for each in signals}
    try:
        yield
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)


@contextlib.contextmanager
def _libraries_quiet() -> Iterator[None]:
    """What PortAudio and ALSA print themselves, past Python, goes nowhere: it would spoil the page."""
    sys.stderr.flush()
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _told(line: str) -> None:
    show(line)
    sys.stdout.flush()


def _waited(session: Session) -> None:
    from voicenotes.outputs.live_screen import open_line

    for caution in session.view.pack_cautions:
        _told(caution)
    before = ""
    while not session.is_over(LOOK_S):
        line = open_line(session.view)
        if line != before and session.view.last:
            _told(line)
            before = line


def _watched(session: Session) -> None:
    from voicenotes.cli.live_page import keys, page, terminal_size
    from voicenotes.outputs.canvas import PLAIN, signs_for
    from voicenotes.outputs.live_screen import live_lines

    drawn = signs_for(sys.stdout.encoding) is not PLAIN
    with page() as showing, keys() as pressed:
        while not session.is_over(LOOK_S):
            if pressed() in ("q", "Q"):
                session.stop()
            columns, lines = size = terminal_size()
            showing(live_lines(session.view, columns, lines, drawn), size)


def _ended(visit: Path, pack: Pack, engine: Engine, model: str | None) -> None:
    """Write the record, as `process` does, and show what it has."""
    from voicenotes.listing import recordings_in
    from voicenotes.outputs.screen import doubt_lines, problem_lines, summary_lines
    from voicenotes.visit import process_visit

    if not recordings_in(visit).recordings:
        show("Nothing was recorded.")
        return
    with progress_shown(False) as (progress, say):
        record: Record = process_visit(visit, pack, engine.value, model, progress=progress, say=say)
    for line in [*problem_lines(record), *doubt_lines(record)]:
        show(line, err=True)
    print_lines(summary_lines(record, pack))
    show(f"Record: {visit / 'record.json'}")
    if problem_lines(record):
        raise typer.Exit(SOME_UNREAD)
