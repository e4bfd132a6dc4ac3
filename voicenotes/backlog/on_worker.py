"""What a worker of a Dask cluster does with one visit, and what it is asked before that."""

from __future__ import annotations

import os
import platform
import threading
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from voicenotes.backlog.build import build
from voicenotes.backlog.outcomes import Orders, Outcome, failure, process_one

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

# A dead machine's lock is taken back by the file server after its lease, 90 s with NFS 4 on Linux (from
# memory). A worker that has only lost its scheduler ends the recording that it is at; then it is free.
PATIENCE_S = 180.0
TELL_EVERY_S = 1.0
_ONE_VISIT = threading.Lock()  # a worker gives all its threads to one visit


class StoppedError(Exception):
    """Nobody waits for this visit any more; what was transcribed is kept."""


@dataclass(frozen=True)
class Job:
    """One visit as it is sent to a worker.

    `names` are those of the files that whoever sent it sees in the folder; `build` is that of the sender;
    `topic` is where the worker tells how far it is.
    """

    visit: str
    folder: Path
    orders: Orders
    names: frozenset[str]
    build: str
    topic: str


def work_off(job: Job) -> Outcome:
    """Process one visit in a worker of a cluster, with as many processes as the worker has threads."""
    import distributed

    worker = distributed.get_worker()
    if build() != job.build:
        return failure(job.visit, _other_build(worker.address, job.build))
    line = hidden(job)
    if line:
        return failure(job.visit, line)
    said: list[str] = []
    with _ONE_VISIT:
        outcome = process_one(
            job.visit,
            job.folder,
            job.orders,
            _telling(worker, worker.get_current_task(), job),
            said.append,
            processes=worker.state.nthreads,
            patience_s=PATIENCE_S,
        )
    if outcome.failed and not outcome.recordings:
        return failure(job.visit, f"{outcome.failed} (said by the worker on {platform.node()})")
    return replace(outcome, said=tuple(said))


def _other_build(address: str, wanted: str) -> str:
    return (
        f"the worker {address} has voicenotes {build()}, and this is {wanted}; install the same on both, "
        "and start the worker again"
    )


def hidden(job: Job) -> str | None:
    """Why this worker can't see the visit that was meant; None when it can."""
    here = f"the worker on {platform.node()}"
    shared = "put the visits on a disk that all machines have at the same place"
    if not job.folder.is_dir():
        return f"{here} sees no folder {job.folder}; {shared}"
    try:
        names = {path.name for path in job.folder.iterdir()}
    except OSError as error:
        return f"{here} can't look into {job.folder} ({error.strerror}); change its permissions"
    if job.names and not job.names & names:
        return f"{here} sees other files in {job.folder}; {shared}"
    if not os.access(job.folder, os.W_OK | os.X_OK):
        return f"{here} may not write into {job.folder}; change its permissions"
    return None


def _telling(worker: Any, key: Any, job: Job) -> Callable[[str, float, float], None]:
    """A progress function that tells the sender now and then, and stops when he has gone."""
    told = 0.0

    def progress(file: str, done: float, in_all: float) -> None:
        nonlocal told
        now = time.monotonic()
        if now - told < TELL_EVERY_S:
            return
        told = now
        if _is_given_up(worker, key):
            raise StoppedError(job.visit)
        worker.log_event(
            job.topic, {"visit": job.visit, "file": file, "share": done / in_all if in_all else 0.0}
        )

    return progress


def _is_given_up(worker: Any, key: Any) -> bool:
    """Whether the scheduler no longer wants this task: it was cancelled, or its sender is gone."""
    task = worker.state.tasks.get(key)
    return task is None or task.state == "cancelled"
