"""Standard input and output in place of files, as ``-``, and pipes that have a path."""

import shutil
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from presolder.models.errors import InputError
from presolder.render.files.scratch import scratch_folder

STANDARD = Path("-")
# An hour of 24-bit stereo at 96 kHz; what passes a pipe must be kept to be read twice.
MOST_PIPED_BYTES = 2_100_000_000
_PIECE_BYTES = 1 << 20
# What tells the two formats apart that have no ending here to tell them by.
_MP4_MARK, _ADTS_MARKS = b"ftyp", (b"\xff\xf1", b"\xff\xf9")


def input_name(path: Path) -> Path:
    """What to call a file that is read, in messages."""
    return Path("standard input") if path == STANDARD else path


def does_not_fit(shown: Path, error: OSError) -> InputError:
    """What to say where a copy cannot be kept in the scratch folder."""
    return InputError(f"{shown}: does not fit into the scratch folder: {error.strerror}")


def comes_by_pipe(path: Path) -> bool:
    """Whether a path is standard input or a pipe, which can be read but once."""
    return path == STANDARD or (path.exists() and stat.S_ISFIFO(path.stat().st_mode))


@contextmanager
def readable(path: Path, most_bytes: int = MOST_PIPED_BYTES) -> Iterator[Path]:
    """Give a file that can be read more than once: itself, or what a pipe held.

    Parameters
    ----------
    path : Path
        A file; ``-`` for standard input; a named pipe.
    most_bytes : int
        What more than this a pipe gives is refused.

    Yields
    ------
    Path
        Itself, unless it is a pipe; else a copy that is removed afterwards.

    Raises
    ------
    InputError
        If a pipe gives nothing, or too much.
    """
    if not comes_by_pipe(path):
        yield path
        return
    with scratch_folder() as folder:
        copy = folder / "piped"
        with copy.open("wb") as kept:
            if path == STANDARD:
                _keep(sys.stdin.buffer, kept, path, most_bytes)
            else:
                with path.open("rb") as pipe:
                    _keep(pipe, kept, path, most_bytes)
        yield copy.rename(copy.with_suffix(_ending(copy)))


def _keep(pipe: BinaryIO, kept: BinaryIO, path: Path, most_bytes: int) -> None:
    """Copy what a pipe gives."""
    count = 0
    while piece := pipe.read(_PIECE_BYTES):
        count += len(piece)
        if count > most_bytes:
            raise InputError(f"{input_name(path)}: gives more than {most_bytes:,} bytes")
        try:
            kept.write(piece)
            kept.flush()
        except OSError as error:
            raise does_not_fit(input_name(path), error) from None
    if count == 0:
        raise InputError(f"{input_name(path)}: is empty, or was read already")


def _ending(copy: Path) -> str:
    """The file name's ending where a reader needs one."""
    with copy.open("rb") as file:
        head = file.read(8)
    if head[4:] == _MP4_MARK:
        return ".m4a"
    return ".aac" if head[:2] in _ADTS_MARKS else ""


def write_to_standard(file: Path) -> None:
    """Send a file's content to standard output.

    Raises
    ------
    InputError
        If that is a terminal, and the content no text.
    """
    with file.open("rb") as content:
        if sys.stdout.isatty() and b"\0" in content.read(_PIECE_BYTES):
            raise InputError("-: is a terminal, and this is no text; send it into a file")
        content.seek(0)
        sys.stdout.flush()
        if not hasattr(sys.stdout, "buffer"):
            # As in notebooks.
            sys.stdout.write(content.read().decode("utf-8"))
            return
        shutil.copyfileobj(content, sys.stdout.buffer)
        sys.stdout.buffer.flush()
