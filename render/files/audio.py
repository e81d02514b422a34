"""Reading takes and writing renders, through libsndfile."""

import hashlib
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile

from presolder.models.audio.take import onset
from presolder.models.errors import InputError, one_line
from presolder.models.typing import Array
from presolder.render.files.delivery import decode_with_ffmpeg
from presolder.render.files.tags import Tags

# What customers send that libsndfile does not read.
FFMPEG_ENDINGS = (".m4a", ".aac", ".mp4")
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 44_100, 192_000
SHORTEST_SECONDS = 0.1
LONGEST_SECONDS = 3600.0
Bits = Literal["16", "24", "float"]
_SUBTYPES: dict[Bits, str] = {"16": "PCM_16", "24": "PCM_24", "float": "FLOAT"}
_READ_FRAMES = 1 << 16
_CUT_SHORT = re.compile(r"^data : (\d+) \(should be (\d+)\)", re.MULTILINE)
_UNKNOWN_LENGTH = 0x7FFF0000
_DITHER_SEED = 16


@dataclass(frozen=True, eq=False)
class Recording:
    """A take in memory.

    Attributes
    ----------
    samples : ndarray, shape (channels, n)
        Full scale is 1.0.
    sample_rate_hz : int
        Sample rate.
    name : str
        File name.
    sha256 : str
        Of the file's bytes.
    cut : str
        What of the file was left out, in words; empty for nothing.
    """

    samples: Array
    sample_rate_hz: int
    name: str
    sha256: str
    cut: str = ""

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return float(self.samples.shape[1] / self.sample_rate_hz)


def read_recording(path: Path) -> Recording:
    """Read a mono or stereo take.

    Parameters
    ----------
    path : Path
        A WAV, FLAC, MP3 or other file that libsndfile reads; M4A and AAC with ffmpeg.

    Returns
    -------
    Recording

    Raises
    ------
    InputError
        If it is not such a file, or too short, silent, damaged, or of an
        unsupported rate or channel count.
    """
    if path.suffix.lower() in FFMPEG_ENDINGS and path.is_file():
        samples, rate = decode_with_ffmpeg(path)
        _check_format(path, len(samples), rate)
    else:
        with _opened(path) as file:
            rate = int(file.samplerate)
            _check_format(path, file.channels, rate)
            samples = _read_samples(path, file)
    _check_samples(path, samples, rate)
    return Recording(samples, rate, path.name, _sha256(path))


def excerpt(
    recording: Recording, start_s: float | None, end_s: float | None, *, trim: bool
) -> Recording:
    """A part of a take, without silence at its start.

    Parameters
    ----------
    recording : Recording
    start_s, end_s : float or None
        Seconds into the take; None for its start and end.
    trim : bool
        Whether to leave out silence at the start.

    Raises
    ------
    InputError
        If the times do not leave enough of the take.
    """
    first, last = start_s or 0.0, recording.duration_s if end_s is None else end_s
    if not 0 <= first < last or last > recording.duration_s + 1e-9:
        raise InputError(
            f"{recording.name}: from {first:g} to {last:g} s must lie within its"
            f" {recording.duration_s:.2f} s"
        )
    rate = recording.sample_rate_hz
    samples = recording.samples[:, round(first * rate) : round(last * rate)]
    said = [f"{first:g} to {last:g} s of it"] if (start_s, end_s) != (None, None) else []
    if samples.shape[1] < SHORTEST_SECONDS * rate or not samples.any():
        raise InputError(
            f"{recording.name}: from {first:g} to {last:g} s there is less than"
            f" {SHORTEST_SECONDS:g} s of sound"
        )
    silence = onset(samples, rate) if trim else 0
    if silence:
        said.append(f"without {silence / rate:.2f} s of silence at the start")
    return replace(recording, samples=samples[:, silence:], cut=", ".join(said))


def read_impulse(path: Path) -> tuple[Array, int]:
    """Read an impulse response: the mean of its channels, and its sample rate.

    Raises
    ------
    InputError
        If it cannot be read as audio, or is longer than any take.
    """
    with _opened(path) as file:
        return _read_samples(path, file).mean(axis=0), int(file.samplerate)


@contextmanager
def _opened(path: Path) -> Iterator[soundfile.SoundFile]:
    """Open audio for reading, with every failure turned into one line."""
    if not path.is_file():
        reason = "is not a regular file" if path.exists() else "no such file"
        raise InputError(f"{path}: {reason}; give a WAV or FLAC recording")
    try:
        with soundfile.SoundFile(path) as file:
            yield file
    except (OSError, RuntimeError, ValueError, AssertionError) as error:
        # soundfile's own errors are RuntimeErrors; the others come from the system.
        reason = one_line(str(error).replace(str(path), "").replace("Error opening '':", ""))
        raise InputError(f"{path}: cannot be read as audio: {reason}") from None


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _check_format(path: Path, channels: int, sample_rate_hz: int) -> None:
    if channels > 2:
        raise InputError(f"{path}: {channels} channels; mono or stereo is accepted")
    if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
        raise InputError(
            f"{path}: sample rate {sample_rate_hz} Hz; accepted:"
            f" {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz"
        )


def _refuse_cut_short(path: Path, file: soundfile.SoundFile) -> None:
    """Refuse a WAV whose header promises more than is there.

    libsndfile quietly reads what there is, and only its log tells.
    """
    found = _CUT_SHORT.search(file.extra_info)
    if found is None:
        return
    promised, present = int(found[1]), int(found[2])
    # Programs that write to a pipe cannot know the length and promise the most.
    if present < promised < _UNKNOWN_LENGTH:
        raise InputError(
            f"{path}: cut short: its header promises {promised:,} bytes of audio,"
            f" {present:,} are there"
        )


def _read_samples(path: Path, file: soundfile.SoundFile) -> Array:
    _refuse_cut_short(path, file)
    # In blocks, since the length that a damaged header claims cannot be trusted
    # with an allocation.
    blocks = []
    count = 0
    while True:
        block = file.read(_READ_FRAMES, dtype="float64", always_2d=True)
        count += len(block)
        if len(block):
            blocks.append(block.T)
        if len(block) < _READ_FRAMES:
            break
        if count > LONGEST_SECONDS * file.samplerate:
            raise InputError(f"{path}: longer than {LONGEST_SECONDS:g} s")
    if count < file.frames:
        raise InputError(
            f"{path}: damaged or cut short: its header promises {file.frames} samples,"
            f" {count} are there"
        )
    return np.concatenate(blocks, axis=1) if blocks else np.zeros((file.channels, 0))


def _check_samples(path: Path, samples: Array, sample_rate_hz: int) -> None:
    seconds = samples.shape[1] / sample_rate_hz
    if seconds < SHORTEST_SECONDS:
        raise InputError(f"{path}: {seconds:.3g} s long; at least {SHORTEST_SECONDS:g} s is needed")
    peak = np.abs(samples).max()  # NaN if any sample is
    if not np.isfinite(peak):
        raise InputError(f"{path}: holds samples that are not finite numbers (NaN or infinity)")
    if peak == 0:
        raise InputError(f"{path}: holds only silence")
    if peak > 1e6:
        raise InputError(f"{path}: peaks at {peak:.3g}, which is not audio with full scale 1.0")


def write_audio(
    path: Path,
    blocks: Iterable[Array],
    sample_rate_hz: int,
    channels: int,
    bits: Bits,
    tags: Tags | None = None,
) -> None:
    """Write audio blocks to a WAV or FLAC file, by the path's ending.

    Parameters
    ----------
    path : Path
        The file; it must be in a folder that is renamed when all is written.
    blocks : iterable of ndarray, shape (channels, n)
        Full scale 1.0; must not clip unless `bits` is ``"float"``.
    sample_rate_hz, channels : int
        Format.
    bits : {"16", "24", "float"}
        Sample format. 16 bits are dithered (triangular, seeded).
    tags : Tags, optional
        What it says about itself.

    Raises
    ------
    OSError
        If the disk does not take it.
    """
    random = np.random.default_rng(_DITHER_SEED)
    try:
        with soundfile.SoundFile(
            path, "w", sample_rate_hz, channels, _SUBTYPES[bits], format=path.suffix[1:].upper()
        ) as file:
            if tags is not None:
                told = tags.as_dict()
                file.title, file.artist, file.album = tags.title, told["artist"], tags.rig
                file.comment = told["comment"]
                if tags.track:
                    file.tracknumber = told["track"]
            for block in blocks:
                frames = block.T
                if bits == "16":
                    noise = random.random((2, *frames.shape))
                    # Kept inside full scale, where the format would wrap or clip.
                    frames = np.clip(frames + (noise[0] - noise[1]) / 32768, -1.0, 1 - 2.0**-15)
                file.write(np.ascontiguousarray(frames))
    except (RuntimeError, AssertionError) as error:
        # libsndfile reports a full disk as a short write, soundfile as a failed assertion.
        raise OSError(
            f"writing {path.name} failed: {one_line(str(error)) or 'disk full?'}"
        ) from None
