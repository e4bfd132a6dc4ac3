"""Serves one visit's review on this machine until it is interrupted."""

from __future__ import annotations

import contextlib
import gc
import socket
import threading
import webbrowser
from typing import TYPE_CHECKING

from voicenotes.errors import VisitError
from voicenotes.review.app import application
from voicenotes.review.desk import Desk
from voicenotes.review.door import LOOPBACK, Keys

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    import uvicorn

    from voicenotes.vocabulary.schema import Pack


@contextlib.contextmanager
def ready(
    folder: Path, pack: Pack, who: str, port: int = 0
) -> Iterator[tuple[uvicorn.Server, socket.socket, Keys]]:
    """A server with its socket bound to loopback, and this run's keys. Raises VisitError."""
    import uvicorn

    desk = Desk(folder, pack, who)
    desk.view()
    _warm(desk)
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as bound:
        try:
            bound.bind((LOOPBACK, port))
        except OSError as error:
            raise VisitError(f"port {port} can't be had ({error.strerror}); leave --port out") from None
        keys = Keys(bound.getsockname()[1])
        config = uvicorn.Config(
            application(desk, keys), log_level="error", lifespan="off", ws="none", server_header=False,
            date_header=False, h11_max_incomplete_event_size=64_000, timeout_graceful_shutdown=1,
        )  # fmt: skip
        yield uvicorn.Server(config), bound, keys


def serve(
    folder: Path, pack: Pack, who: str, open_browser: bool, say: Callable[[str], None], port: int = 0
) -> None:
    """Serve a visit's review; `say` gets the address. Ends with an interrupt. Raises VisitError."""
    with ready(folder, pack, who, port) as (server, bound, keys):
        say(f"Review: {keys.address}")
        say("The page is for this machine and this run alone. Ctrl-C ends it.")
        if open_browser:
            with contextlib.suppress(Exception):  # no browser here: the address stands above
                webbrowser.open(keys.address)
        server.run(sockets=[bound])


def _warm(desk: Desk) -> None:
    """Load what the first correction of words would wait for, beside the first page."""
    threading.Thread(target=_load, args=(desk,), daemon=True).start()


def _load(desk: Desk) -> None:
    """Read something; then tell the garbage collector that what was loaded stays: looking through it takes
    half a second, which would fall on some action."""
    from voicenotes.corrections.reread import read_alone

    read_alone("nothing", desk.pack)
    gc.collect()
    gc.freeze()
