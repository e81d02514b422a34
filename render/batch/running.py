"""Running many jobs, several at once; each a process, so that none takes others along."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from threading import Lock
from typing import Literal

from presolder.models.cores import JOBS
from presolder.models.errors import InputError
from presolder.render.batch.jobs import MAKES_FOLDER, Job
from presolder.render.batch.warm import Child, Warm, can_be_warm
from presolder.render.files.attached import attached
from presolder.render.files.folder import new_file, new_folder
from presolder.render.files.owner import holding, machine
from presolder.render.files.record import proof
from presolder.render.files.scratch import unique_name

Outcome = Literal["made", "kept", "failed", "elsewhere"]
RECORDS = "jobs"
RESULT = "result.json"
# Several processes share the cores; each may use one for its sums.
_ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS", JOBS), "1"
)
# A claim is renewed six times in this; of machines that share a disk clocks may differ by some.
_FRESH_SECONDS = 120.0
_LOOK_AGAIN_SECONDS = 1.0
# Jobs a worker by which loading everything once has paid for itself.
_PAYS_FROM = 4


@dataclass(frozen=True)
class Done:
    """What became of a job.

    Attributes
    ----------
    name, command : str
    outcome : {"made", "kept", "failed", "elsewhere"}
        Made now; kept from an earlier run; failed; or another batch is at it.
    seconds : float
        That it took when it was made.
    message : str
        The line that it failed with.
    """

    name: str
    command: str
    outcome: Outcome
    seconds: float
    message: str = ""


def run_jobs(
    jobs: Sequence[Job], out: Path, workers: int, progress: Callable[[int], None]
) -> tuple[Done, ...]:
    """Run all jobs that an earlier run has not finished.

    Parameters
    ----------
    jobs : sequence of Job
    out : Path
        Gets a folder a job, and a record of each.
    workers : int
        How many run at once.
    progress : callable
        Called with 1 after each.

    Returns
    -------
    tuple of Done
        In the jobs' order. One that fails stops no other.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    make_records(out)
    # One process that has loaded everything, where there are jobs enough to pay for it.
    warm = len(jobs) > _PAYS_FROM * workers and can_be_warm()
    running = _Running(out, workers, warm=warm)
    pool = ThreadPoolExecutor(workers)
    try:
        waiting = [pool.submit(running.job, job) for job in jobs]
        for _ in as_completed(waiting):
            progress(1)
        return tuple(one.result() for one in waiting)
    finally:
        # Also when stopped: those that run are told so, and clear away what they began.
        running.stop()
        pool.shutdown(cancel_futures=True)
        running.close()


def make_records(out: Path) -> None:
    """Make the folder that tells what is finished.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    try:
        (out / RECORDS).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{out}: cannot be written: {error.strerror}") from None


def run_alone(job: Job, out: Path) -> Done:
    """Run one job where a scheduler has put it, beside others elsewhere.

    A job that another worker has claimed is waited for: either it is finished
    there, or that worker is gone and its claim with it after a while.
    """
    running = _Running(out, workers=2)
    while (done := running.job(job)).outcome == "elsewhere":
        time.sleep(_LOOK_AGAIN_SECONDS)
    return done


class _Running:
    """The processes at work."""

    def __init__(self, out: Path, workers: int, *, warm: bool = False) -> None:
        self._out = out
        self._environment = dict(os.environ) | (_ONE_THREAD if workers > 1 else {})
        self._warm = Warm(self._environment) if warm else None
        # Once what was kept ready is gone.
        self._cold = False
        self._processes: set[subprocess.Popen[str] | Child] = set()
        self._lock = Lock()
        self._stopped = False

    def stop(self) -> None:
        """End what still runs."""
        with self._lock:
            self._stopped = True
            for process in self._processes:
                process.terminate()

    def close(self) -> None:
        """End what is kept ready."""
        if self._warm is not None:
            self._warm.close()

    def job(self, job: Job) -> Done:
        """Run one, unless it is finished or somebody is at it."""
        if (before := kept(job, self._out)) is not None:
            return before
        record, place = _record(job, self._out), self._out / job.name
        with _claimed(record.with_suffix(".claim")) as mine:
            if not mine:
                return Done(job.name, job.command, "elsewhere", 0.0)
            # Whose claim was let go in between has finished it.
            if (before := kept(job, self._out)) is not None:
                return before
            began = time.monotonic()
            message = self._made(job, record.with_suffix(".claim"))
            done = Done(
                job.name,
                job.command,
                "failed" if message else "made",
                round(time.monotonic() - began, 2),
                message,
            )
            told = asdict(done) | {"key": job.key, "result": proof(place)}
            with new_file(record, force=True) as scratch:
                scratch.write_text(json.dumps(told) + "\n", "utf-8")
            return done

    def _made(self, job: Job, claim: Path) -> str:
        """Make a job's folder, and keep its claim fresh; what went wrong, or nothing."""
        place = self._out / job.name
        try:
            if job.command in MAKES_FOLDER:
                return self._process(job, ("--out", str(place), "--force"), claim)[1]
            text, message = self._process(job, ("--json",), claim)
            if not message:
                with new_folder(place, force=True) as scratch:
                    (scratch / RESULT).write_text(text, "utf-8")
            return message
        except InputError as error:
            return str(error)

    def _process(self, job: Job, more: tuple[str, ...], claim: Path) -> tuple[str, str]:
        """Standard output of a command, and the line that it failed with."""
        arguments = [job.command, *job.arguments, *more]
        with self._lock:
            if self._stopped:
                return "", "stopped"
            process = self._begun(arguments)
            self._processes.add(process)

        def refresh() -> None:
            with suppress(OSError):
                claim.touch(exist_ok=True)

        out, errors = _communicated(process, refresh)
        with self._lock:
            self._processes.discard(process)
        if isinstance(process, Child) and not process.begun and not self._stopped:
            # What was kept ready is gone.
            self._cold = True
            return self._process(job, more, claim)
        if process.returncode == 0:
            return out, ""
        lines = [line for line in errors.splitlines() if line.strip()]
        last = lines[-1].removeprefix("presolder: ") if lines else ""
        return out, last or f"ended with status {process.returncode}"

    def _begun(self, arguments: list[str]) -> "subprocess.Popen[str] | Child":
        if self._warm is not None and not self._cold:
            with suppress(OSError):
                return self._warm.begin(arguments)
        return subprocess.Popen(
            attached([sys.executable, "-m", "presolder", *arguments]), stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL, env=self._environment,
        )  # fmt: skip


def _communicated(
    process: "subprocess.Popen[str] | Child", refresh: Callable[[], None]
) -> tuple[str, str]:
    """Both outputs of a process; its claim is kept fresh meanwhile."""
    if isinstance(process, Child):
        return process.communicate(_FRESH_SECONDS / 6, refresh)
    while True:
        try:
            return process.communicate(timeout=_FRESH_SECONDS / 6)
        except subprocess.TimeoutExpired:
            refresh()


def _record(job: Job, out: Path) -> Path:
    """Where it is told what lies in a job's folder."""
    return out / RECORDS / f"{job.name}.json"


def kept(job: Job, out: Path) -> Done | None:
    """A job that was made earlier, of these inputs, and lies there as it was made."""
    try:
        told = json.loads(_record(job, out).read_text("utf-8"))
        same = told["outcome"] == "made" and told["key"] == job.key
        if same and told["result"] is not None and told["result"] == proof(out / job.name):
            return Done(job.name, job.command, "kept", float(told["seconds"]))
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return None


@contextmanager
def _claimed(claim: Path) -> Iterator[bool]:
    """Whether a job is this batch's now; of two that reach for it, one gets it.

    The claim is locked as long as this process lives. Another machine, whose locks
    may not reach here, has a claim for as long as it renews it.
    """
    _lay(claim)
    with holding(claim) as held:
        mine = held is not False and _may_take(claim, locked=held is True)
        if mine:
            claim.write_text(f"{machine()}-{os.getpid()}", "utf-8")
        try:
            yield mine
        finally:
            if mine:
                claim.unlink(missing_ok=True)


def _lay(claim: Path) -> None:
    """Make a claim that is nobody's yet, unless there is one: under its name at once as it is."""
    draft = claim.with_suffix(f".{unique_name()}")
    try:
        draft.touch()
        os.utime(draft, (0, 0))
        os.link(draft, claim)
    except OSError:
        # There is one, or the disk has no links.
        with suppress(OSError):
            claim.touch(exist_ok=False)
    finally:
        draft.unlink(missing_ok=True)


def _may_take(claim: Path, *, locked: bool) -> bool:
    """Whether a claim that is not locked is nobody's."""
    try:
        here = claim.read_text("utf-8").startswith(f"{machine()}-")
        silent = time.time() - claim.stat().st_mtime > _FRESH_SECONDS
    except OSError:
        return False
    return (here and locked) or silent
