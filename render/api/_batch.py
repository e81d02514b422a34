"""Many jobs from one file."""

import json
import os
from pathlib import Path

from presolder._asked import Progress, counted
from presolder.models.cores import cores
from presolder.models.errors import InputError
from presolder.render.batch.cluster import run_on_cluster
from presolder.render.batch.jobs import read_jobs
from presolder.render.batch.running import run_jobs
from presolder.render.files.folder import new_file
from presolder.render.report.batch import BatchReport

SUMMARY = "summary.json"
_MOST_WORKERS = 256


def batch(
    jobs: str | os.PathLike[str],
    out: str | os.PathLike[str],
    *,
    workers: int | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
) -> BatchReport:
    r"""Run many jobs: rigs, takes, designs and commands that a file lists.

    What an earlier run into the same folder has finished is kept, as long as
    version, options and the files that it reads are the same.

    Parameters
    ----------
    jobs : str or path
        A TOML file with a ``[[job]]`` for each kind; docs/batch.md.
    out : str or path
        Folder that gets a folder a job, and ``summary.json``.
    workers : int, optional
        How many run at once, 1 to 256; by default one a core.
    cluster : str, optional
        Address of a Dask scheduler whose workers, which see the same files,
        run them instead.
    progress : callable, optional
        Called with the jobs done since the last call, and all there are.

    Returns
    -------
    BatchReport
        ``done``, one a job; ``well`` if all are done, and none failed or is with
        another run.

    Raises
    ------
    InputError
        If the file or the folder cannot be used. A job that fails stops no other.

    Notes
    -----
    Each job is a process of the command line; what is finished is known by the
    SHA-256 (FIPS 180-4) of version, options and all files that are read, and by that
    of what lies in its folder.

    Examples
    --------
    >>> import tempfile, presolder as ps
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "jobs.toml"
    ...     _ = file.write_text('[[job]]\ncommand = "need"\nrigs = ["single-coil-250k"]\n')
    ...     report = ps.batch(file, f"{folder}/out")
    >>> report.done[0].outcome
    'made'
    """
    if workers is not None and cluster is not None:
        raise InputError("workers and cluster exclude each other: a cluster has workers of its own")
    if workers is not None and not 1 <= workers <= _MOST_WORKERS:
        raise InputError(f"workers = {workers} must lie between 1 and {_MOST_WORKERS}")
    # Workers elsewhere may stand in another folder.
    file = Path(jobs) if cluster is None else Path(jobs).absolute()
    listed, folder = read_jobs(file), Path(out)
    told = counted(progress, len(listed))
    if cluster is None:
        done = run_jobs(listed, folder, workers or cores(), told)
    else:
        done = run_on_cluster(listed, folder, cluster, told)
    report = BatchReport(done)
    with new_file(folder / SUMMARY, force=True) as scratch:
        scratch.write_text(json.dumps(report.plain(), indent=2) + "\n", encoding="utf-8")
    return report
