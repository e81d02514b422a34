"""Folders among the system's temporary ones, gone afterwards whatever happens."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """Make a folder, and remove it at the end.

    The standard library's own stays where a signal comes just after it was
    made, since it is not known yet to what removes it.

    Yields
    ------
    Path
        The folder, to which only its owner has access.

    Raises
    ------
    OSError
        If there is no room for it.
    """
    folder = Path(tempfile.gettempdir()) / f"presolder.{unique_name()}"
    try:
        folder.mkdir(0o700)
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def unique_name() -> str:
    """A name that nobody has, known before anything is made under it."""
    return os.urandom(6).hex()
