"""Work spread over the machine's cores, with the results that one core gives."""

import os
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

Given = TypeVar("Given")
Made = TypeVar("Made")
# Set by ``--jobs``, and for what it starts in turn.
JOBS = "PRESOLDER_JOBS"
# Of a thread: whether it works for a crew, and what tells that its work is no longer wanted.
_own = threading.local()


def cores() -> int:
    """How many threads compute at once: what is asked for, or those that this process may use."""
    asked = os.environ.get(JOBS, "")
    if asked.isdigit() and int(asked) > 0:
        return int(asked)
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def side_by_side(work: Callable[[Given], Made], items: Iterable[Given]) -> Iterator[Made]:
    """Do work that leaves the interpreter to others, as compiled loops and transforms do.

    Parameters
    ----------
    work : callable
        Each call must be independent of the others.
    items : iterable
        Taken all at once.

    Yields
    ------
    object
        What `work` makes of each, in order.
    """
    listed = list(items)
    with crew(len(listed)) as spread:
        yield from spread(work, listed)


@contextmanager
def crew(most: int) -> Iterator[Callable[..., Iterator[Any]]]:
    """Threads for work that comes in several lots.

    Parameters
    ----------
    most : int
        Pieces of work in a lot.

    Yields
    ------
    callable
        As `map`. Inside such work all is done one after the other, so that
        there are never more threads than cores.
    """
    workers = min(cores(), most)
    if workers < 2 or getattr(_own, "in_crew", False):
        yield map
        return
    # Here, so that only those with something to spread wait for the library.
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415

    pool = ThreadPoolExecutor(workers, initializer=_begin, initargs=(True, _unwanted()))
    try:
        yield pool.map
    finally:
        # After an error, or where somebody stops the run, nothing more is begun.
        pool.shutdown(cancel_futures=True)


@contextmanager
def in_background(work: Callable[[], Made]) -> Iterator[Callable[[], Made]]:
    """Do work beside what the block does, where there is a core to spare.

    Yields
    ------
    callable
        Waits for what the work makes; what it raises is raised there.
    """
    if cores() < 2:
        made = work()
        yield lambda: made
        return
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415

    unwanted = threading.Event()
    with ThreadPoolExecutor(1, initializer=_begin, initargs=(False, unwanted)) as other:
        try:
            yield other.submit(work).result
        except BaseException:
            unwanted.set()
            raise


def still_wanted() -> bool:
    """Whether work in the background is to go on; long work asks now and then."""
    return not _unwanted().is_set()


def _unwanted() -> threading.Event:
    found: threading.Event = getattr(_own, "unwanted", None) or threading.Event()
    return found


def _begin(in_crew: bool, unwanted: threading.Event) -> None:
    _own.in_crew, _own.unwanted = in_crew, unwanted
