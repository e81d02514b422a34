"""Whether ffmpeg is there, which compressed formats need."""

import shutil
from typing import Literal

Format = Literal["mp3", "m4a"]
NO_FFMPEG_NOTE = "ffmpeg is not installed: listening copies are .{ending}, without all tags"


def have_ffmpeg() -> bool:
    """Whether ffmpeg can be called."""
    return shutil.which("ffmpeg") is not None
