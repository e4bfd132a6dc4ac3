"""Spreads visits over the workers of a Dask cluster: one task a visit, one visit a worker at a time."""

from __future__ import annotations

import contextlib
import os
import queue
import time
import uuid
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from voicenotes.backlog.build import build
from voicenotes.backlog.cluster import cluster
from voicenotes.backlog.here import each_once
from voicenotes.backlog.on_worker import Job, work_off
from voicenotes.backlog.outcomes import NOT_REACHED, Orders, Outcome, failure
from voicenotes.errors import VisitError
from voicenotes.files import visit_folder
from voicenotes.outputs.wording import count

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from voicenotes.backlog.outcomes import Progress, Say

TICK_S = 0.5
LOOK_EVERY_S = 2.0  # at the cluster's workers
LOST_LIMIT_S = 60.0  # how long there may be no worker, or no scheduler, while visits wait
RESULT_LIMIT_S = 30.0  # an outcome on its way; where its worker is gone, the visit is done again
RETRIES = 1  # of a visit on which a worker raised what nobody foresaw


@dataclass(frozen=True)
class Spread:
    """The outcomes in the visits' order; `lost` is the line that says why some of them were not reached."""

    outcomes: list[Outcome]
    lost: str | None = None


def process_on_cluster(
    address: str,
    visits: Sequence[str | Path],
    orders: Orders,
    done: Callable[[Outcome], None] | None = None,
    progress: Progress | None = None,
    say: Say | None = None,
) -> Spread:
    """Process visits on the workers of the cluster whose scheduler is at `address`.

    The visits must be on a disk that this machine and all workers have at the same place. `done` gets each
    outcome as it comes; `progress(visit and file, visits_done, visits)` follows; `say(line)` gets what the
    user should know. Raises BacklogError when the cluster can't be used; one lost on the way is a line.
    """
    folders = each_once(visits)
    with cluster(address, orders.engine, orders.model) as client:
        run = _Run(client, folders, orders, done, progress)
        if say:
            threads = client.nthreads()
            say(f"{address}: {count(len(threads), 'worker')}, {count(sum(threads.values()), 'thread')}.")
        lost = run.all()
    return Spread([run.found.get(visit) or failure(visit, NOT_REACHED) for visit in folders], lost)


class _LostError(Exception):
    """The scheduler, or all of its workers, are gone; the message is the line for the user."""


class _Run:
    """One backlog on one cluster. `found` has the outcomes by visit."""

    def __init__(
        self,
        client: Any,
        folders: dict[str, Path],
        orders: Orders,
        done: Callable[[Outcome], None] | None,
        progress: Progress | None,
    ) -> None:
        self._client, self._folders, self._orders = client, folders, orders
        self._done, self._progress = done, progress
        self._topic = f"voicenotes-{uuid.uuid4().hex}"
        self._ended: queue.Queue[Any] = queue.Queue()
        self._under_way: dict[Any, tuple[str, str]] = {}  # tasks, with the visit of each and its first worker
        self._shares: dict[str, float] = {}  # how much of each visit under way is done
        self._file = ""
        self._workers: list[str] = []
        self._looked_at, self._seen_at = 0.0, time.monotonic()
        self.found: dict[str, Outcome] = {}

    def all(self) -> str | None:
        """Hand out all visits and collect their outcomes; a line if the cluster was lost on the way."""
        jobs = deque(self._jobs())
        self._client.subscribe_topic(self._topic, self._hear)
        try:
            while jobs or self._under_way:
                self._look()
                while jobs and len(self._under_way) < len(self._workers):
                    self._hand_out(jobs.popleft())
                self._collect()
                self._tell()
        except _LostError as lost:
            return str(lost)
        finally:
            self._give_up()
        return None

    def _jobs(self) -> Iterator[Job]:
        """The visits as they are sent; one whose folder can't be used has its outcome at once."""
        for visit, folder in self._folders.items():
            try:
                visit_folder(folder)
                names = frozenset(path.name for path in folder.iterdir())
            except VisitError as error:
                self._take(failure(visit, str(error).removeprefix(f"{folder}: ")))
            except OSError as error:
                self._take(failure(visit, f"can't be read ({error.strerror}); change its permissions"))
            else:
                yield Job(visit, folder, self._orders, names, build(), self._topic)

    def _hand_out(self, job: Job) -> None:
        """Send a visit to a worker that has none; should that one die, to any other."""
        busy = {worker for _, worker in self._under_way.values()}
        worker = next((each for each in self._workers if each not in busy), self._workers[0])
        task = self._client.submit(
            work_off,
            job,
            key=f"{self._topic}-{len(self.found) + len(self._under_way)}-{uuid.uuid4().hex[:8]}",
            workers=[worker],
            allow_other_workers=True,
            retries=RETRIES,
            pure=False,
        )
        self._under_way[task] = (job.visit, worker)
        task.add_done_callback(self._ended.put)

    def _collect(self) -> None:
        """Take what has ended by now, waiting a moment for the first."""
        with contextlib.suppress(queue.Empty):
            self._one_ended(self._ended.get(timeout=TICK_S))
            while True:
                self._one_ended(self._ended.get_nowait())
        if any(task.status in ("cancelled", "lost") for task in self._under_way):
            raise _LostError(_GONE)

    def _one_ended(self, task: Any) -> None:
        if task not in self._under_way or task.status not in ("finished", "error"):
            return
        visit, _ = self._under_way[task]
        try:
            outcome = task.result(timeout=RESULT_LIMIT_S)
        except TimeoutError:
            task.add_done_callback(self._ended.put)
            return
        except Exception as error:
            outcome = failure(visit, _broken(error))
        del self._under_way[task]
        self._take(outcome)

    def _take(self, outcome: Outcome) -> None:
        self.found[outcome.visit] = outcome
        self._shares.pop(outcome.visit, None)
        if self._done:
            self._done(outcome)

    def _look(self) -> None:
        """See which workers there are. Raises _LostError when there have been none for too long."""
        now = time.monotonic()
        if now - self._looked_at < LOOK_EVERY_S:
            return
        self._looked_at = now
        self._workers = []
        if self._client.status == "running":
            with contextlib.suppress(OSError, TimeoutError):
                self._workers = sorted(self._client.nthreads())
        if self._workers:
            self._seen_at = now
        elif now - self._seen_at > LOST_LIMIT_S or self._client.status == "closed":
            raise _LostError(_GONE if self._client.status != "running" else _NO_WORKERS)

    def _hear(self, event: tuple[float, dict[str, Any]]) -> None:
        """What a worker tells; in a thread of the client's."""
        _, told = event
        visit = str(told["visit"])
        if visit not in self.found:
            self._shares[visit] = float(told["share"])
            self._file = f"{os.path.basename(visit)} {told['file']}"  # noqa: PTH119

    def _tell(self) -> None:
        if self._progress:
            done = len(self.found) + sum(list(self._shares.values()))
            self._progress(self._file, min(done, len(self._folders)), len(self._folders))

    def _give_up(self) -> None:
        """Let go of what is still under way: its workers stop at the next sound they have heard."""
        with contextlib.suppress(Exception):
            self._client.unsubscribe_topic(self._topic)
        if self._under_way:
            with contextlib.suppress(Exception):
                self._client.cancel(list(self._under_way), force=True)
        self._under_way.clear()


_AGAIN = "run the same command again, it goes on from there"
_GONE = f"the scheduler answers no more; start it again, then {_AGAIN}"
_NO_WORKERS = f"the scheduler has had no workers for {LOST_LIMIT_S:.0f} s; start some, then {_AGAIN}"


def _broken(error: Exception) -> str:
    """The line for a task that Dask gave up."""
    from distributed.scheduler import KilledWorker

    if isinstance(error, KilledWorker):
        return "every worker that tried it died; process it alone on one machine to see why"
    what = " ".join(f"{type(error).__name__}: {error}".split())
    return f"could not be processed, a fault of voicenotes itself ({what})"
