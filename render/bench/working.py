"""Long work in processes of its own, as many as there are cores, that end when nobody waits."""

import asyncio
import multiprocessing
import sys
import warnings
from collections.abc import AsyncIterator, Mapping
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from presolder.models.cores import cores
from presolder.models.errors import InputError, one_line

if sys.platform == "win32":
    _context = multiprocessing.get_context("spawn")
else:
    _context = multiprocessing.get_context("forkserver")
_EVERY_S = 0.02


def make_ready() -> None:
    """Load what the work needs, in the process that the others are made from."""
    if sys.platform != "win32":
        _context.set_forkserver_preload(["presolder.render.bench.tasks"])
        first = _context.Process(target=_nothing, daemon=True)
        first.start()
        first.join()


def _nothing() -> None:
    """Begin and end."""


class Crew:
    """Those who work at once."""

    def __init__(self) -> None:
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
                        pass
                    try:
                        told: dict[str, Any] = ours.recv()
                    except EOFError:
                        told = {"error": "the work ended before it was done; is memory short?"}
                    yield told
                    if "of" not in told:
                        return
            finally:
                process.kill()
                await asyncio.shield(asyncio.to_thread(process.join))
                ours.close()


def _work(say: Connection, task: str, job: Path, given: dict[str, Any]) -> None:
    """In the new process."""
    from presolder.render.bench.tasks import TASKS, Asked  # noqa: PLC0415

    counted = 0

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
