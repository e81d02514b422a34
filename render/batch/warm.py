"""A process that has loaded everything, and becomes two for each job: warm, and as much alone.

Starting the interpreter and loading the libraries takes longer than most jobs. What a job
does to its copy of the process, another never sees.
"""

import ctypes
import gc
import importlib
import json
import os
import runpy
import select
import selectors
import signal
import socket
import subprocess
import sys
import traceback
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from threading import Lock
from typing import NoReturn, TextIO

from presolder.render.files.attached import attached

_MOST_BYTES = 1 << 20
_SET_PARENT_DEATH_SIGNAL = 1


def can_be_warm() -> bool:
    """Whether this system can fork, and ends what a killed run leaves."""
    return sys.platform == "linux"


class Warm:
    """The process, as the run that started it sees it.

    Parameters
    ----------
    environment : mapping of str
        Of every job.
    """

    def __init__(self, environment: Mapping[str, str]) -> None:
        self._socket, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._lock = Lock()
        with theirs:
            self._process = subprocess.Popen(
                attached([sys.executable, "-m", __name__, str(theirs.fileno())]),
                stdin=subprocess.DEVNULL, env=dict(environment), pass_fds=(theirs.fileno(),),
            )  # fmt: skip

    def begin(self, arguments: Sequence[str]) -> "Child":
        """Run presolder with these arguments, beside whatever else runs."""
        (out, out_theirs), (errors, errors_theirs) = os.pipe(), os.pipe()
        control, control_theirs = socket.socketpair()
        try:
            told = json.dumps(list(arguments)).encode()
            with self._lock:
                fds = [out_theirs, errors_theirs, control_theirs.fileno()]
                socket.send_fds(self._socket, [told], fds)
        except OSError:
            os.close(out)
            os.close(errors)
            control.close()
            raise
        finally:
            os.close(out_theirs)
            os.close(errors_theirs)
            control_theirs.close()
        return Child(out, errors, control)

    def close(self) -> None:
        """End it, and what it still runs."""
        self._socket.close()
        self._process.wait()


class Child:
    """A job at work.

    Attributes
    ----------
    returncode : int or None
        None until it has ended.
    begun : bool
        Whether, once it has ended, it had ever begun.
    """

    def __init__(self, out: int, errors: int, control: socket.socket) -> None:
        self.returncode: int | None = None
        self.begun = False
        self._texts = {out: bytearray(), errors: bytearray()}
        self._order = (out, errors)
        self._control = control
        self._told = b""

    def communicate(self, every_s: float, meanwhile: Callable[[], None]) -> tuple[str, str]:
        """What it says on both outputs, once it has ended; calls `meanwhile` every so often."""
        sources: list[int | socket.socket] = [*self._texts, self._control]
        with selectors.DefaultSelector() as waiting:
            for source in sources:
                waiting.register(source, selectors.EVENT_READ)
            while waiting.get_map():
                ready = waiting.select(every_s)
                if not ready:
                    meanwhile()
                for key, _ in ready:
                    more = _read(key.fd)
                    if not more:
                        waiting.unregister(key.fileobj)
                    elif key.fd in self._texts:
                        self._texts[key.fd] += more
                    else:
                        self._told += more
        for end in self._order:
            os.close(end)
        self._control.close()
        told = self._told.split()
        self.begun = bool(told)
        # Where the process itself is gone, it has told nothing.
        self.returncode = int(told[1]) if len(told) > 1 else -signal.SIGKILL
        out, errors = (self._texts[end].decode("utf-8", "replace") for end in self._order)
        return out, errors

    def terminate(self) -> None:
        """Stop it, if it still runs; it clears away what it began."""
        if self.returncode is None:
            with suppress(OSError):
                self._control.send(b"stop")


def _read(end: int) -> bytes:
    """What there is; nothing where the other end is closed, whatever it had not read."""
    try:
        return os.read(end, _MOST_BYTES)
    except ConnectionError:
        return b""


def _serve(ours: socket.socket) -> None:
    """Fork a child for each message, and tell of its end, until nobody listens."""
    _load()
    children: dict[int, socket.socket] = {}
    ended, ends = os.pipe()
    os.set_blocking(ends, False)
    os.set_blocking(ended, False)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    signal.set_wakeup_fd(ends, warn_on_full_buffer=False)
    while True:
        fds = [ours.fileno(), ended, *(control.fileno() for control in children.values())]
        ready, _, _ = select.select(fds, [], [])
        for pid, control in children.items():
            # A word means stop; an end, that whoever asked is gone.
            if control.fileno() in ready:
                with suppress(OSError):
                    control.recv(16)
                os.kill(pid, signal.SIGTERM)
        if ended in ready:
            os.read(ended, 4096)
            _reap(children)
        if ours.fileno() in ready:
            told, passed, _, _ = socket.recv_fds(ours, _MOST_BYTES, 3)
            if not told:
                break
            _fork(json.loads(told), passed, children, [ours.fileno(), ended, ends])
    for pid in children:
        os.kill(pid, signal.SIGTERM)


def _load() -> None:
    """All that a job may need, once."""
    from presolder.render.batch.jobs import COMMANDS  # noqa: PLC0415

    for name in COMMANDS:
        importlib.import_module(f"presolder.render.commands.{name}")
    # As the program that is run, not as what this stands on: its names are loaded when asked for.
    face = importlib.import_module("presolder")
    for name in dir(face):
        getattr(face, name)
    # What is there stays, and is not written to by looking for garbage.
    gc.collect()
    gc.freeze()


def _reap(children: dict[int, socket.socket]) -> None:
    while children:
        pid, status = os.waitpid(-1, os.WNOHANG)
        if pid == 0:
            return
        control = children.pop(pid)
        with suppress(OSError):
            control.send(f" {os.waitstatus_to_exitcode(status)}".encode())
        control.close()


def _fork(
    arguments: list[str], fds: list[int], children: dict[int, socket.socket], shut: list[int]
) -> None:
    out, errors, control = fds
    mother, pid = os.getpid(), os.fork()
    if pid == 0:
        _become(arguments, out, errors, [*shut, control, *(c.fileno() for c in children.values())],
                mother)  # fmt: skip
    os.close(out)
    os.close(errors)
    children[pid] = socket.socket(fileno=control)
    children[pid].send(f"{pid}".encode())


def _become(arguments: list[str], out: int, errors: int, shut: list[int], mother: int) -> NoReturn:
    """The job's process, from here to its end."""
    code = 1
    try:
        ctypes.CDLL(None).prctl(_SET_PARENT_DEATH_SIGNAL, signal.SIGTERM)
        if os.getppid() != mother:
            os._exit(1)
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        for end, of in ((out, 1), (errors, 2)):
            os.dup2(end, of)
            os.close(end)
        for end in shut:
            os.close(end)
        # What these were opened on, perhaps a file, is there no more.
        sys.stdout, sys.stderr = _text(1, sys.stdout), _text(2, sys.stderr)
        sys.argv = ["presolder", *arguments]
        runpy.run_module("presolder", run_name="__main__")
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
    except BaseException:
        traceback.print_exc()
    finally:
        with suppress(Exception):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)


def _text(end: int, like: TextIO) -> TextIO:
    return open(end, "w", encoding=like.encoding, errors=like.errors, closefd=False)


if __name__ == "__main__":
    _serve(socket.socket(fileno=int(sys.argv[1])))
