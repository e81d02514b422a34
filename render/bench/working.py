"""Long work in processes of its own, as many as there are cores, that end when nobody waits."""

import asyncio
import multiprocessing
import signal
import sys
import warnings
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import suppress
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from presolder.models.cores import cores
from presolder.models.errors import InputError, one_line

if sys.platform == "win32":
    _context = multiprocessing.get_context("spawn")
else:
    from multiprocessing import forkserver

    _context = multiprocessing.get_context("forkserver")
# Between two looks at whether anybody still waits; what comes is handed on at once.
_EVERY_S, _PATIENCE_S = 0.1, 3.0


def make_ready() -> None:
    """Begin to load what the work needs, in the process that the others are made from."""
    if sys.platform != "win32":
        forkserver.set_forkserver_preload(["presolder.render.bench.tasks"])
        # Ctrl-C is not for it; it ends with the bench.
        heard = signal.signal(signal.SIGINT, signal.SIG_IGN)
        forkserver.ensure_running()
        signal.signal(signal.SIGINT, heard)


class Crew:
    """Those who work at once.

    Parameters
    ----------
    ending : callable
        Whether the bench is, and nobody needs to work on.
    """

    def __init__(self, ending: Callable[[], bool]) -> None:
        self._ending = ending
        self._free = asyncio.Semaphore(cores())

    async def work(
        self, task: str, job: Path, given: Mapping[str, Any]
    ) -> AsyncIterator[dict[str, Any]]:
        """Do a task; whoever stops listening stops it.

        Yields
        ------
        dict
            ``done`` and ``of``, how far it is; at last ``result`` or ``error``, and
            ``remarks``.
        """
        async with self._free:
            ours, theirs = _context.Pipe(duplex=False)
            process = _context.Process(
                target=_work, args=(theirs, task, job, dict(given)), daemon=True
            )
            process.start()
            theirs.close()
            try:
                while True:
                    # A pipe that has ended is readable too.
                    while not await asyncio.to_thread(ours.poll, _EVERY_S):
                        if self._ending():
                            return
                    try:
                        told: dict[str, Any] = ours.recv()
                    except EOFError:
                        told = {"error": "the work ended before it was done; is memory short?"}
                    yield told
                    if "of" not in told:
                        return
            finally:
                await asyncio.shield(asyncio.to_thread(_ended, process))
                ours.close()


def _ended(process: BaseProcess) -> None:
    """Let it clear away what it has begun, but not for ever."""
    process.terminate()
    process.join(_PATIENCE_S)
    process.kill()
    process.join()


def _work(say: Connection, task: str, job: Path, given: dict[str, Any]) -> None:
    """In the new process."""
    from presolder.render.bench.asked import Asked  # noqa: PLC0415
    from presolder.render.bench.tasks import TASKS  # noqa: PLC0415

    # Ctrl-C reaches all of a terminal's processes; this one is ended by the bench.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    counted, stopped = 0, False

    def stop(*_: object) -> None:
        nonlocal stopped
        stopped = True
        raise SystemExit

    signal.signal(signal.SIGTERM, stop)

    def told(done: int, total: int) -> None:
        nonlocal counted
        counted += done
        say.send({"done": min(counted, total), "of": total})

    # Whoever asked is gone: nobody is left to tell.
    with suppress(BrokenPipeError):
        try:
            with warnings.catch_warnings(record=True) as odd:
                warnings.simplefilter("always")
                result = TASKS[task](job, Asked(given), told)
            remarks = list(dict.fromkeys(one_line(str(one.message)) for one in odd))
            say.send({"result": result, "remarks": remarks})
        except InputError as error:
            say.send({"error": str(error)})
        except OSError as error:
            say.send({"error": f"{error.filename or 'a file'}: {error.strerror or error}"})
        except BaseException:
            # What is being loaded can make another error of the stop.
            if not stopped:
                raise
