"""Running many jobs on the workers of a Dask cluster, which share a disk."""

import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from presolder.models.errors import InputError
from presolder.render.batch.jobs import Job
from presolder.render.batch.running import Done, kept, make_records, run_alone

_PATIENCE = "15s"
# What futures say whose scheduler no longer answers.
_LOST = ("cancelled", "lost", "pending")


def run_on_cluster(
    jobs: Sequence[Job], out: Path, address: str, progress: Callable[[int], None]
) -> tuple[Done, ...]:
    """Run all jobs that an earlier run has not finished; as `run_jobs`.

    Parameters
    ----------
    jobs : sequence of Job
    out : Path
        A folder that every worker sees under this name.
    address : str
        Of the scheduler, such as ``tcp://10.0.0.5:8786``. What its workers do
        at a time is theirs to say. A job whose worker dies is given to another.
    progress : callable
        Called with 1 after each.

    Raises
    ------
    InputError
        If the package is missing, or nobody answers there.
    """
    try:
        from distributed import Client, as_completed  # noqa: PLC0415
    except ImportError:
        raise InputError(
            "a cluster needs the package distributed; pip install 'presolder[cluster]'"
        ) from None
    make_records(out)
    # What happens to workers is told by what becomes of the jobs, not in the library's words.
    quiet = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        client = Client(address, timeout=_PATIENCE, set_as_default=False)
        with client:
            # Each by a name of its own: two batches on a scheduler may list the same job.
            waiting = client.map(run_alone, jobs, out=out.resolve(), pure=False)
            with suppress(Exception):  # The scheduler is gone; the disk tells what was done.
                for _ in as_completed(waiting, loop=client.loop, raise_errors=False):
                    progress(1)
            return tuple(map(partial(_told, out), jobs, waiting))
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            f"cluster {address}: no scheduler answers ({type(error).__name__}); an address such as"
            " tcp://10.0.0.5:8786 is wanted"
        ) from None
    finally:
        logging.disable(quiet)


def _told(out: Path, job: Job, future: Any) -> Done:  # noqa: ANN401
    """What became of a job, by its worker or, where that cannot be asked, by its record."""
    if future.status == "finished":
        with suppress(Exception):
            done: Done = future.result(timeout=_PATIENCE)
            return done
    made = kept(job, out)
    if made is not None:
        return replace(made, outcome="made")
    lost = "the scheduler is gone" if future.status in _LOST else f"its worker: {future.status}"
    return Done(job.name, job.command, "failed", 0.0, f"not done: {lost}; run the batch again")
