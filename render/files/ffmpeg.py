"""ffmpeg, which compressed formats need: whether it is there, and running it."""

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from presolder.models.errors import InputError, one_line
from presolder.render.files.attached import attached

Format = Literal["mp3", "m4a"]
NO_FFMPEG_NOTE = "ffmpeg is not installed: listening copies are .{ending} and not .{wanted}"
# Far more than an hour of audio takes; one that hangs is stopped then.
_PATIENCE_SECONDS = 300.0


def have_ffmpeg() -> bool:
    """Whether ffmpeg can be called."""
    return shutil.which("ffmpeg") is not None


def run_ffmpeg(arguments: Sequence[str], given: bytes = b"") -> None:
    """Run ffmpeg to its end.

    Parameters
    ----------
    arguments : sequence of str
        Inputs and outputs; files as ``file:...``.
    given : bytes
        For its standard input.

    Raises
    ------
    OSError
        If it cannot be run, fails, or takes too long; in one line.
    """
    command = attached(
        ["ffmpeg", "-v", "error", "-y", "-protocol_whitelist", "file,pipe", *arguments]
    )
    try:
        done = subprocess.run(
            command, input=given, capture_output=True, check=False, timeout=_PATIENCE_SECONDS
        )
    except subprocess.TimeoutExpired:
        raise OSError(f"ffmpeg was stopped after {_PATIENCE_SECONDS:g} s") from None
    if done.returncode != 0:
        told = done.stderr.decode("utf-8", "replace")
        for file in (one for one in arguments if one.startswith("file:")):
            # Where it lies is no news, and may be long.
            short = Path(file.removeprefix("file:")).name
            told = told.replace(file, short).replace(file.removeprefix("file:"), short)
        reason = one_line(told)[:200]
        raise OSError(f"ffmpeg failed: {reason or done.returncode}")


def decode_with_ffmpeg(path: Path, out: Path, longest_s: float, shown: Path) -> None:
    """Decode a compressed recording that libsndfile does not read.

    Parameters
    ----------
    path : Path
        M4A, AAC or the like.
    out : Path
        The WAV file to write.
    longest_s : float
        No more than this is decoded.
    shown : Path
        What to call the recording in messages.

    Raises
    ------
    InputError
        If ffmpeg is missing or cannot decode the file.
    """
    if not have_ffmpeg():
        raise InputError(
            f"{shown}: reading {path.suffix[1:].upper()} needs ffmpeg, which is not installed;"
            " install ffmpeg, or give a WAV or FLAC recording"
        )
    # The container by the ending, or a script with that ending could name other files.
    container = "aac" if path.suffix.lower() == ".aac" else "mov"
    command = ["-f", container, "-t", f"{longest_s:g}", "-i", f"file:{path}"]
    command += ["-vn", "-map_metadata", "-1", "-c:a", "pcm_f32le", "-f", "wav", f"file:{out}"]
    try:
        run_ffmpeg(command)
    except OSError as error:
        raise InputError(f"{shown}: ffmpeg cannot decode it as audio: {error}") from None
