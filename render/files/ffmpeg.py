"""ffmpeg, which compressed formats need: whether it is there, and running it."""

import shutil
import subprocess
from collections.abc import Sequence
from typing import Literal

from presolder.models.errors import one_line

Format = Literal["mp3", "m4a"]
NO_FFMPEG_NOTE = "ffmpeg is not installed: listening copies are .{ending}, without all tags"
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
    command = ["ffmpeg", "-v", "error", "-y", "-protocol_whitelist", "file,pipe", *arguments]
    try:
        done = subprocess.run(
            command, input=given, capture_output=True, check=False, timeout=_PATIENCE_SECONDS
        )
    except subprocess.TimeoutExpired:
        raise OSError(f"ffmpeg was stopped after {_PATIENCE_SECONDS:g} s") from None
    if done.returncode != 0:
        reason = one_line(done.stderr.decode("utf-8", "replace"))[:200]
        raise OSError(f"ffmpeg failed: {reason or done.returncode}")
