"""Whether what presolder stands on is there: cache, ffmpeg, room on the disk, encoding."""

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import soundfile

from presolder.models.errors import InputError
from presolder.render.files.default_rig import default_rig
from presolder.render.files.ffmpeg import have_ffmpeg
from presolder.render.files.rig_file import find_situations

PACKAGES = ("presolder", "numpy", "scipy", "soundfile", "pydub", "click", "matplotlib")
_LEAST_FREE_BYTES = 1_000_000_000


def versions() -> str:
    """Of Python, libsndfile and the packages."""
    found = [f"Python {sys.version.split()[0]}", f"libsndfile {soundfile.__libsndfile_version__}"]
    for name in PACKAGES:
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            found.append(f"{name} missing")
    return ", ".join(found)


def scratch_trouble() -> str:
    """What is wrong with the folder for temporary files; empty for nothing, as in all of these."""
    folder = Path(tempfile.gettempdir())
    trouble = _not_writable(folder)
    if trouble:
        return trouble
    free = shutil.disk_usage(folder).free
    if free < _LEAST_FREE_BYTES:
        return f"{folder} has {free / 1e6:.0f} MB free; a long render takes a gigabyte"
    return ""


def _not_writable(folder: Path) -> str:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as file:
            file.write(b"x")
    except OSError as error:
        return f"{folder} cannot be written: {error.strerror or error}"
    return ""


def ffmpeg_trouble() -> str:
    """What is wrong with ffmpeg."""
    if not have_ffmpeg():
        return "ffmpeg is not installed: M4A cannot be read or written"
    try:
        listed = subprocess.run(
            ["ffmpeg", "-hide_banner", "-encoders"], capture_output=True, check=True, timeout=20
        ).stdout
    except (OSError, subprocess.SubprocessError):
        return "ffmpeg is there and does not run"
    return "" if b" aac " in listed else "this ffmpeg cannot write M4A"


def encoding_trouble() -> str:
    """What is wrong with the terminal's encoding."""
    encoding = sys.stdout.encoding or "utf-8"
    try:
        "Ωµ".encode(encoding)
    except UnicodeEncodeError:
        return f"standard output is {encoding}, which has no ohm sign; it is spelt out"
    return ""


def rig_trouble() -> str:
    """What is wrong with the rig that commands use where none is named."""
    try:
        find_situations(default_rig().name)
    except InputError as error:
        return str(error)
    return ""


def checked(look: Callable[[], str]) -> str:
    """A look at something, of which even an unforeseen failure is a finding."""
    try:
        return look()
    except Exception as error:
        return f"{type(error).__name__}: {error}"
