"""Who is at work on a file or folder: told by a lock that the kernel lets go with its holder.

A lock reaches as far as one running kernel, containers and all; what another machine holds on
a disk that both see is told by how long ago it was touched.
"""

import contextlib
import os
import socket
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from hashlib import sha256
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows, where all goes by age.
    fcntl = None  # type: ignore[assignment]

_UNLOCKED = -1
_BOOT = Path("/proc/sys/kernel/random/boot_id")


@cache
def machine() -> str:
    """A name of the running system that no other has: letters and digits."""
    try:
        told = _BOOT.read_text("ascii")
    except OSError:
        told = f"{socket.gethostname()} {uuid.getnode()}"
    return sha256(told.encode()).hexdigest()[:12]


@contextmanager
def holding(path: Path) -> Iterator[bool | None]:
    """Hold a file or folder as long as the block lasts, or this process.

    Parameters
    ----------
    path : Path
        It must be there.

    Yields
    ------
    bool or None
        Whether it is held: not so if somebody else has it, or took it away; None
        where the disk or the system has no locks.
    """
    handle = _locked(path)
    try:
        yield None if handle == _UNLOCKED else handle is not None
    finally:
        if handle is not None and handle != _UNLOCKED:
            os.close(handle)


def _locked(path: Path) -> int | None:
    """An open handle that has the lock, None if it is another's; `_UNLOCKED` if there are none."""
    if fcntl is None:
        return _UNLOCKED
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if os.path.samestat(os.fstat(handle), path.stat()):
            return handle
        found = None
    except (BlockingIOError, FileNotFoundError):
        found = None
    except OSError:
        found = _UNLOCKED
    os.close(handle)
    return found


def idle(path: Path, seconds: float) -> bool:
    """Whether neither a file or folder nor anything in it was touched for so long."""
    newest = 0.0
    with contextlib.suppress(OSError):
        newest = path.lstat().st_mtime
        for one in path.rglob("*"):
            newest = max(newest, one.lstat().st_mtime)
    return time.time() - newest > seconds
