"""Running many jobs on the workers of a Dask cluster, which share a disk."""

import logging
from collections.abc import Callable, Sequence
from pathlib import Path

from presolder.models.errors import InputError
from presolder.render.batch.jobs import Job
from presolder.render.batch.running import Done, make_records, run_alone

_PATIENCE = "15s"


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
    # What happens to workers is told by what becomes of the jobs.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    make_records(out)
    try:
        client = Client(address, timeout=_PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            f"cluster {address}: no scheduler answers ({type(error).__name__}); an address such as"
            " tcp://10.0.0.5:8786 is wanted"
        ) from None
    with client:
        # Each by a name of its own: two batches that share a scheduler may list the same job.
        waiting = client.map(run_alone, jobs, out=out.resolve(), pure=False)
        for _ in as_completed(waiting, loop=client.loop, raise_errors=False):
            progress(1)
        return tuple(
            one.result()
            if one.status == "finished"
            else Done(job.name, job.command, "failed", 0.0, f"its worker failed: {one.status}")
            for job, one in zip(jobs, waiting, strict=True)
        )
