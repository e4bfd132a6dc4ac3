"""A Dask cluster that is there already: reached, and its workers asked whether they can do the work."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import warnings
from typing import TYPE_CHECKING, Any

from voicenotes.backlog.build import build
from voicenotes.errors import BacklogError

if TYPE_CHECKING:
    from collections.abc import Iterator

REACH_LIMIT_S = 10.0
WORKERS_LIMIT_S = 15.0  # for the first worker of a cluster that is just starting
EXTRA = "pip install 'voicenotes[backlog]'"


@contextlib.contextmanager
def cluster(address: str, engine: str = "auto", model: str | None = None) -> Iterator[Any]:
    """A `distributed.Client` of the scheduler at this address, whose workers have the same voicenotes.

    Raises BacklogError when Dask is not installed, nothing answers there, it has no workers, or one of them
    would not read as this machine does. `engine` and `model` are what will be asked of the workers.
    """
    try:
        import distributed
    except ImportError as error:
        raise BacklogError(f"--scheduler needs Dask ({error.name} is not installed): {EXTRA}") from None
    _hush()
    _reach(address)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", distributed.versions.VersionMismatchWarning)
            client = distributed.Client(address, timeout=REACH_LIMIT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise _unreachable(address, error) from None
    with client:
        _await_workers(client, address)
        _compare(client, engine if not model else "named")
        yield client


def _hush() -> None:
    """Let Dask log nothing: what matters comes as a line. Its loggers have levels of their own."""
    for name in list(logging.root.manager.loggerDict):
        if name.partition(".")[0] == "distributed":
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def _reach(address: str) -> None:
    """Raise BacklogError unless a scheduler answers there; a client of Dask's is not so quiet about it."""
    try:
        identity = asyncio.run(_identity(address))
    except (OSError, ValueError, TypeError) as error:
        raise _unreachable(address, error) from None
    kind = identity.get("type") if isinstance(identity, dict) else None
    if kind != "Scheduler":
        raise BacklogError(
            f"{address}: is no scheduler but a {str(kind).lower()}; name the scheduler's address"
        )


async def _identity(address: str) -> Any:
    from distributed.core import rpc
    from distributed.security import Security

    arguments = Security().get_connection_args("client")
    asked = rpc(address, timeout=REACH_LIMIT_S, connection_args=arguments)
    try:
        return await asyncio.wait_for(asked.identity(), REACH_LIMIT_S)
    finally:
        await asked.close_rpc()


def _unreachable(address: str, error: Exception) -> BacklogError:
    if isinstance(error, ValueError):
        why = " ".join(str(error).split())
        return BacklogError(f"{address}: is no scheduler's address ({why}); it looks like tcp://machine:8786")
    if isinstance(error, TypeError):  # Dask's way to say that TLS lacks its certificates
        return BacklogError(f"{address}: needs certificates; name them in Dask's configuration")
    return BacklogError(
        f"{address}: no scheduler answers there within {REACH_LIMIT_S:.0f} s; start one with "
        "'dask scheduler', or name the address that it shows"
    )


def _await_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=WORKERS_LIMIT_S)
    except TimeoutError:
        raise BacklogError(
            f"{address}: the scheduler has no workers; start some with 'dask worker {address}' on machines "
            "that have voicenotes"
        ) from None


def _compare(client: Any, engine: str) -> None:
    """Raise BacklogError unless all workers have this voicenotes, and would choose the same engine."""

    def look(ask_for_engine: bool) -> tuple[str, str]:
        """Runs in the worker; sent by value, so that one without voicenotes can answer too."""
        try:
            from voicenotes.backlog.build import build
        except ImportError:
            return "", ""
        if not ask_for_engine:
            return build(), ""
        from voicenotes.speech.choose import auto_without_whisper, best_model_here

        model = best_model_here()
        return build(), f"whisper {model}" if model else auto_without_whisper()

    found = client.run(look, engine == "auto", on_error="return")
    for address, answer in sorted(found.items()):
        if isinstance(answer, Exception):
            line = " ".join(f"{type(answer).__name__}: {answer}".split())
            raise BacklogError(f"the worker {address} can't be asked which voicenotes it has ({line})")
        if not answer[0]:
            raise BacklogError(f"the worker {address} has no voicenotes; install {build()} there: {EXTRA}")
        if answer[0] != build():
            raise BacklogError(
                f"the worker {address} has voicenotes {answer[0]}, and this is {build()}; install the same "
                "on both, and start the worker again"
            )
    engines = {answer[1] for answer in found.values()}
    if len(engines) > 1:
        raise BacklogError(
            f"the workers would take different engines ({', '.join(sorted(engines))}); name one with "
            "--engine, and its model with --model"
        )
