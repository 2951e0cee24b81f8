"""Many tiles at once: by processes of this machine, or by the workers of a dask scheduler.

One work function serves both: a path and places in, the points near them out. What is computed from the
points happens in one place afterwards, on points put in an order of their own, so that a result does not
depend on how many workers read, in what order, or how often a lost one's tile was read again.
"""

from __future__ import annotations

import logging
import multiprocessing
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from functools import reduce
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError, UsageError
from accuracy.findings import Finding
from accuracy.formats import PointBatch, PointSurface, open_cloud
from accuracy.formats.scanning import R, Scannable, reduce_points
from accuracy.sampling.reading import raise_unreadable

Progress = Callable[[str], None]

#: How often tiles of workers that died are given out again.
ATTEMPTS = 3
CONNECT_S = 15
#: How often results of a scheduler are fetched, its workers counted, and how long it may have none.
POLL_S, LOOK_S, LOST_S = 0.02, 2.0, 30.0


@dataclass(frozen=True, eq=False)
class Task:
    """One tile to be searched; places and radius in stored units."""

    path: Path
    index_folder: Path | None
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    radius: float
    extras: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Answer:
    """What a tile holds near the places, or why it cannot be read."""

    batches: tuple[PointBatch, ...] = ()
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()
    error: FormatError | None = None


def read_tile(task: Task) -> Answer:
    """Search one tile: the work function of every kind of worker."""
    try:
        surface = open_cloud(task.path, task.index_folder)
        if task.extras:
            surface.extras = task.extras  # type: ignore[attr-defined]  # LAS, the only clouds there are
        batches = tuple(surface.near(task.x, task.y, task.radius))
    except FormatError as error:
        return Answer(error=error)
    return Answer(
        batches,
        tuple(getattr(surface, "reading_findings", ())),
        tuple(getattr(surface, "notes", ())),
    )


@dataclass(frozen=True)
class Scan:
    """One tile to be passed over."""

    path: Path
    reducer: Any


def scan_tile(scan: Scan) -> Any:
    """Show a tile to its reducer; give that, or the error."""
    try:
        return reduce_points(cast(Scannable, open_cloud(scan.path)), scan.reducer)
    except FormatError as error:
        return error


T = TypeVar("T", Task, Scan)


class _Crew(Protocol):
    """Workers of some kind."""

    def results(self, work: Callable[[T], Any], tasks: Sequence[T]) -> Iterator[tuple[int, Any]]:
        """Yield number and result of each task, in any order; a `FormatError` for one that was lost."""
        ...

    def count(self) -> int:
        """How many there are now."""
        ...

    def close(self) -> None:
        """Let the workers go."""
        ...


class Workers:
    """Reads files with several workers; `read` is a `accuracy.sampling.reading.Reader`.

    Parameters
    ----------
    count : int
        Processes on this machine; not used with a scheduler.
    scheduler : str, optional
        Address of a dask scheduler, such as ``tcp://192.0.2.7:8786``. Its workers must see the files under
        the same paths.

    Raises
    ------
    UsageError
        The extra ``cluster`` is not installed, or no scheduler answers.
    """

    def __init__(self, count: int = 1, scheduler: str | None = None) -> None:
        self._crew: _Crew = _Processes(count) if scheduler is None else _Cluster(scheduler)

    @property
    def count(self) -> int:
        """How many workers there are now."""
        return self._crew.count()

    def __enter__(self) -> Workers:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Let the workers go."""
        self._crew.close()

    def read(
        self,
        surfaces: Sequence[PointSurface],
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        radius: float,
        progress: Progress,
    ) -> list[PointBatch]:
        """Read every point near the places; one file that cannot be read is told after all were tried.

        Raises
        ------
        FormatError
            Naming every file that cannot be read.
        """
        met = [surface for surface in surfaces if _meets(surface, x, y, radius)]
        tasks = [
            Task(
                s.info.path.absolute(),
                _absolute(getattr(s, "index_folder", None)),
                x,
                y,
                radius,
                getattr(s, "extras", ()),
            )
            for s in met
        ]
        answers: dict[int, Answer] = {}
        for number, found in self._crew.results(read_tile, tasks):
            answers[number] = Answer(error=found) if isinstance(found, FormatError) else found
            progress(f"{met[number].info.path.name} ({len(answers)} of {len(met)} files)")
        batches: list[PointBatch] = []
        errors: list[FormatError] = []
        for number, surface in enumerate(met):
            answer = answers[number]
            batches += answer.batches
            if answer.error is not None:
                errors.append(answer.error)
            if hasattr(surface, "reading_findings"):
                surface.reading_findings = list(answer.findings)
            if hasattr(surface, "notes"):
                surface.notes = list(answer.notes)
        raise_unreadable(errors)
        return batches

    def reduce(self, paths: Sequence[Path], make: Callable[[], R], progress: Progress) -> R:
        """Show each tile to a reducer of its own, and merge them in the order of the paths.

        Parameters
        ----------
        paths : sequence of Path
            At least one.
        make : callable
            Makes an empty reducer.

        Raises
        ------
        FormatError
            Naming every file that cannot be read, after all were tried.
        """
        scans = [Scan(path.absolute(), make()) for path in paths]
        found: dict[int, Any] = {}
        for number, result in self._crew.results(scan_tile, scans):
            found[number] = result
            progress(f"{paths[number].name} ({len(found)} of {len(paths)} files)")
        ordered = [found[number] for number in range(len(paths))]
        raise_unreadable([result for result in ordered if isinstance(result, FormatError)])
        whole: R = reduce(lambda first, second: first.merged(second), ordered)
        return whole


def _meets(
    surface: PointSurface, x: NDArray[np.float64], y: NDArray[np.float64], radius: float
) -> bool:
    meets = getattr(surface, "meets", None)
    return meets is None or bool(meets(x, y, radius))


def _absolute(path: Path | None) -> Path | None:
    return None if path is None else path.absolute()


def _lost(path: Path) -> FormatError:
    return FormatError(
        f"the worker that read it died, {ATTEMPTS} times",
        where=str(path),
        remedy="use fewer workers if memory ran out; else copy the file again from its source",
    )


@contextmanager
def _interrupts_wait() -> Iterator[None]:
    """Keep processes that are started here from hearing of interrupts, also before they ignore them.

    They inherit what is blocked. The interrupt itself is not lost but comes at the end.
    """
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Processes:
    """Processes of this machine, started afresh on every platform."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._pool = self._start()

    def _start(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            self._count,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=signal.signal,  # an interrupt is answered by the process that started them
            initargs=(signal.SIGINT, signal.SIG_IGN),
        )

    def results(self, work: Callable[[T], Any], tasks: Sequence[T]) -> Iterator[tuple[int, Any]]:
        """Yield results as they come; what a dead process leaves is given out again."""
        left = dict(enumerate(tasks))
        for _ in range(ATTEMPTS):
            with _interrupts_wait():
                running = {self._pool.submit(work, task): n for n, task in left.items()}
            broken = False
            for future in as_completed(running):
                try:
                    result = future.result()
                except BrokenProcessPool:
                    broken = True
                    continue
                yield running[future], result
                del left[running[future]]
            if not broken:
                return
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = self._start()
        yield from self._one_by_one(work, left)

    def _one_by_one(
        self, work: Callable[[T], Any], left: dict[int, T]
    ) -> Iterator[tuple[int, Any]]:
        """Give the tiles out singly, so that the one that kills its worker is known by name."""
        for number, task in left.items():
            try:
                with _interrupts_wait():
                    running = self._pool.submit(work, task)
                yield number, running.result()
            except BrokenProcessPool:
                self._pool.shutdown(wait=False, cancel_futures=True)
                self._pool = self._start()
                yield number, _lost(task.path)

    def count(self) -> int:
        """How many were asked for."""
        return self._count

    def close(self) -> None:
        """Drop what waits, and wait for what runs."""
        self._pool.shutdown(wait=True, cancel_futures=True)


def _hush(library: str) -> dict[logging.Logger, int]:
    """Keep a library from logging what comes as an error of ours, traceback and all; give its levels."""
    found = [logging.getLogger(library)]
    found += [
        logging.getLogger(n) for n in logging.root.manager.loggerDict if n.startswith(f"{library}.")
    ]
    levels = {logger: logger.level for logger in found}
    for logger in found:
        logger.setLevel(logging.CRITICAL + 1)
    return levels


class _Cluster:
    """Workers of a dask scheduler, which gives a lost worker's tasks out again itself."""

    def __init__(self, address: str) -> None:
        try:
            import distributed
        except ImportError as error:
            raise UsageError(
                "a scheduler needs the extra cluster, which is not installed",
                remedy="pip install 'accuracy[cluster]'",
            ) from error
        self._distributed: Any = distributed
        self._address = address
        self._levels = _hush("distributed")
        try:
            self._client: Any = self._distributed.Client(
                address, timeout=CONNECT_S, set_as_default=False
            )
        except (OSError, ValueError, TimeoutError) as error:
            self._restore_log()
            raise UsageError(
                f"no scheduler answers at {address}",
                remedy="start one with: dask scheduler; and give the address it prints",
            ) from error
        try:
            self._client.wait_for_workers(1, timeout=CONNECT_S)
        except TimeoutError as error:
            self.close()
            raise UsageError(
                f"the scheduler at {address} has no workers",
                remedy=f"start some with: dask worker {address} --nworkers 2",
            ) from error

    def results(self, work: Callable[[T], Any], tasks: Sequence[T]) -> Iterator[tuple[int, Any]]:
        """Yield results as they come; tiles that lost their workers are given out again, singly.

        What ran beside, or lay on, a worker that died is not to blame; alone, a tile that kills is known.
        """
        lost = []
        for number, result in self._gathered(work, tasks, range(len(tasks))):
            if result is None:
                lost.append(number)
            else:
                yield number, result
        for number in lost:
            [(_, result)] = self._gathered(work, tasks, [number])
            yield number, _lost(tasks[number].path) if result is None else result

    def _gathered(
        self, work: Callable[[T], Any], tasks: Sequence[T], chosen: Sequence[int]
    ) -> Iterator[tuple[int, Any]]:
        """Yield results of some tasks as they come; None where the scheduler gave up."""
        futures = [self._client.submit(work, tasks[number], pure=False) for number in chosen]
        numbers = {future.key: n for n, future in zip(chosen, futures, strict=True)}
        for future in self._done(futures):
            try:
                result = future.result()
            except self._distributed.KilledWorker:
                result = None
            except CancelledError as error:
                raise UsageError(
                    f"the scheduler at {self._address} went away while tiles were read",
                    remedy="start it again, then verify again",
                ) from error
            yield numbers[future.key], result
            future.release()

    def _done(self, futures: list[Any]) -> Iterator[Any]:
        """Yield futures as they finish; without any worker they would never."""
        finishing = self._distributed.as_completed(futures, loop=self._client.loop)
        looked = seen = time.monotonic()
        while not finishing.is_empty():
            batch = finishing.next_batch(block=False)
            yield from batch
            now = time.monotonic()
            if batch:
                seen = now
            elif now - looked > LOOK_S and self._client.status == "running":
                looked = now
                if self.count():
                    seen = now
                elif now - seen > LOST_S:
                    raise UsageError(
                        f"the scheduler at {self._address} has lost all its workers",
                        remedy=f"start some with: dask worker {self._address} --nworkers 2",
                    )
            if not batch:
                time.sleep(POLL_S)

    def count(self) -> int:
        """How many the scheduler has at this moment."""
        return len(self._client.nthreads())

    def close(self) -> None:
        """Leave the scheduler as it was."""
        self._client.close()
        self._restore_log()

    def _restore_log(self) -> None:
        for logger, level in self._levels.items():
            logger.setLevel(level)
