"""Reading takes and writing renders, through libsndfile."""

import hashlib
import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile
from typing import Literal

import numpy as np
import soundfile

from presolder.models.audio.flaws import SILENT_DB, leading_silence
from presolder.models.decibels import amplitude
from presolder.models.errors import InputError, one_line
from presolder.models.typing import Array
from presolder.render.files.ffmpeg import decode_with_ffmpeg
from presolder.render.files.scratch import scratch_folder
from presolder.render.files.standard import comes_by_pipe, does_not_fit, input_name, readable
from presolder.render.files.tags import Tags
from presolder.render.files.take import (
    HIGHEST_RATE_HZ,
    LONGEST_SECONDS,
    SHORTEST_SECONDS,
    Take,
    require_format,
    require_sound,
)

# What customers send that libsndfile does not read.
FFMPEG_ENDINGS = (".m4a", ".aac", ".mp4")
# Of a take; more is kept on disk. Six minutes at 44.1 kHz.
MOST_HELD_BYTES = 128_000_000
Bits = Literal["16", "24", "float"]
_SUBTYPES: dict[Bits, str] = {"16": "PCM_16", "24": "PCM_24", "float": "FLOAT"}
_READ_FRAMES = 1 << 16
# WAV says so of data, AIFF of SSND, AU of its data's size; other formats have their own way.
_CUT_SHORT = re.compile(r"^\s*(?:data|SSND|Data Size)\s*: (\d+) \(should be (\d+)\)", re.MULTILINE)
_PROMISED = re.compile(r"^(?:data|  Data size) : (\d+)$", re.MULTILINE)
# In others a seek may land beside its place.
_SEEKS_EXACTLY = ("WAV", "WAVEX", "FLAC", "AIFF", "W64", "RF64", "AU")
LOWEST_IMPULSE_RATE_HZ = 8_000
_UNKNOWN_LENGTH = 0x7FFF0000
_SAMPLE_BYTES = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8}
_W64_HEAD_BYTES = 24
_DITHER_SEED = 16


def read_recording(
    path: Path,
    start_s: float | None = None,
    end_s: float | None = None,
    *,
    trim: bool = False,
    longest_s: float = np.inf,
) -> Take:
    """Read a mono or stereo take, or a part of it.

    Parameters
    ----------
    path : Path
        A WAV, FLAC, MP3 or other file that libsndfile reads; M4A and AAC with
        ffmpeg; ``-`` for standard input.
    start_s, end_s : float, optional
        Seconds into the take that the part starts and ends at.
    trim : bool
        Whether to leave out silence at the start.
    longest_s : float
        No more than this is held in memory, whatever the length.

    Returns
    -------
    Take

    Raises
    ------
    InputError
        If it is not such a file, or too short, silent, damaged, or of an
        unsupported rate or channel count; or the times do not leave enough of it.
    """
    shown = input_name(path)
    name = "take" if comes_by_pipe(path) else path.name
    with readable(path) as file, _decoded(file, shown) as audible:
        scan = _scan(shown, audible)
        first, last, loudest = _part(shown.name, audible, scan, start_s, end_s)
        said = []
        if (start_s, end_s) != (None, None):
            said.append(f"{first / scan.rate_hz:g} to {last / scan.rate_hz:g} s of it")
        silence = _silence(audible, scan, first, last, loudest) if trim else 0
        if silence:
            said.append(f"without {silence / scan.rate_hz:.2f} s of silence at the start")
        first += silence
        held = min(last, first + int(min(longest_s, LONGEST_SECONDS) * scan.rate_hz) + 1)
        samples = _held(audible, scan.channels, first, held, shown)
        sha256 = _sha256(file, shown)
    whole = None if held == last else last - first
    return Take(samples, scan.rate_hz, name, sha256, ", ".join(said), whole)


@contextmanager
def _decoded(file: Path, shown: Path) -> Iterator[Path]:
    """A file that libsndfile reads: the take itself, or what ffmpeg makes of it."""
    _require_file(file, shown)
    if file.suffix.lower() in FFMPEG_ENDINGS:
        with scratch_folder() as folder:
            plain = folder / "decoded.wav"
            decode_with_ffmpeg(file, plain, LONGEST_SECONDS + 1.0, shown)
            yield plain
    else:
        yield file


def _require_file(file: Path, shown: Path) -> None:
    if not file.is_file():
        reason = "is not a regular file" if file.exists() else "no such file"
        raise InputError(f"{shown}: {reason}; give a recording, such as WAV, FLAC or MP3")


@dataclass(frozen=True, eq=False)
class _Scan:
    """What a file holds, found without keeping it: its format, and the peak of each block."""

    rate_hz: int
    channels: int
    count: int
    peaks: Array


def _scan(path: Path, audible: Path) -> _Scan:
    """Read a whole file once, and refuse what is no take."""
    peaks, count = [], 0
    with _opened(audible, path) as file:
        rate, channels = int(file.samplerate), int(file.channels)
        require_format(str(path), channels, rate)
        for block in _blocks_of(path, file):
            peaks.append(float(np.abs(block).max()))
            count += block.shape[1]
    require_sound(str(path), np.array(peaks), count / rate)
    return _Scan(rate, channels, count, np.array(peaks))


def _part(
    name: str, audible: Path, scan: _Scan, start_s: float | None, end_s: float | None
) -> tuple[int, int, float]:
    """First sample of a part, the one past its last, and its peak."""
    whole_s = scan.count / scan.rate_hz
    first, last = start_s or 0.0, whole_s if end_s is None else end_s
    if not 0 <= first < last or last > whole_s + 1e-9:
        raise InputError(
            f"{name}: from {first:g} to {last:g} s must lie within its {whole_s:.2f} s"
        )
    start, stop = round(first * scan.rate_hz), round(last * scan.rate_hz)
    loudest = _loudest(audible, scan, start, stop)
    if stop - start < SHORTEST_SECONDS * scan.rate_hz or not loudest:
        raise InputError(
            f"{name}: from {first:g} to {last:g} s there is less than"
            f" {SHORTEST_SECONDS:g} s of sound"
        )
    return start, stop, loudest


def _loudest(audible: Path, scan: _Scan, first: int, last: int) -> float:
    """The peak of a part, of which blocks that it only partly covers are read again."""
    if (first, last) == (0, scan.count):
        return float(scan.peaks.max())
    whole = slice(-(-first // _READ_FRAMES), last // _READ_FRAMES)
    if whole.start >= whole.stop:
        return float(np.abs(_between(audible, first, last)).max(initial=0.0))
    ends = ((first, whole.start * _READ_FRAMES), (whole.stop * _READ_FRAMES, last))
    peaks = [np.abs(_between(audible, a, b)).max(initial=0.0) for a, b in ends if a < b]
    return float(max([scan.peaks[whole].max(), *peaks]))


def _silence(audible: Path, scan: _Scan, first: int, last: int, loudest: float) -> int:
    """Samples of silence at the start of a part with this peak."""
    heard = np.flatnonzero(scan.peaks > loudest * amplitude(SILENT_DB))
    # Within the part's first block that is heard; blocks may reach out of the part.
    for block in heard[heard >= first // _READ_FRAMES].tolist():
        start, stop = max(first, block * _READ_FRAMES), min(last, (block + 1) * _READ_FRAMES)
        sizes = np.abs(_between(audible, start, stop)).max(axis=0)
        above = np.flatnonzero(sizes > loudest * amplitude(SILENT_DB))
        if above.size:
            return leading_silence(start + int(above[0]) - first, scan.rate_hz)
    return 0


def _between(audible: Path, first: int, last: int) -> Array:
    """Samples of a file that has been looked over."""
    with _opened(audible, audible) as file:
        samples = np.empty((file.channels, last - first))
        for at, piece in _pieces_between(audible, file, first, last):
            samples[:, at : at + piece.shape[1]] = piece
    return samples


def _pieces_between(
    audible: Path, file: soundfile.SoundFile, first: int, last: int
) -> Iterator[tuple[int, Array]]:
    """Pieces from `first` to `last`, with where each begins after `first`.

    Read from the file's start where seeking is not exact.
    """
    if file.format in _SEEKS_EXACTLY:
        file.seek(first)
        first, last = 0, last - first
    at = 0
    for block in _blocks_of(audible, file):
        piece = block[:, max(0, first - at) : last - at]
        if piece.shape[1]:
            yield max(0, at - first), piece
        at += block.shape[1]
        if at >= last:
            break


def _held(audible: Path, channels: int, first: int, last: int, shown: Path) -> Array:
    """Samples of a file that has been looked over; those of a long take lie on disk.

    Written there and mapped, so that memory holds what is being worked on only.
    """
    count = last - first
    if channels * count * 8 <= MOST_HELD_BYTES:
        return _between(audible, first, last)
    try:
        with TemporaryFile() as scratch:
            with _opened(audible, audible) as file:
                for at, piece in _pieces_between(audible, file, first, last):
                    for channel in range(channels):
                        scratch.seek(8 * (channel * count + at))
                        scratch.write(np.ascontiguousarray(piece[channel]).data)
            scratch.flush()
            # The mapping keeps the file, which has no name any more.
            return np.asarray(np.memmap(scratch, np.float64, "r", shape=(channels, count)))
    except OSError as error:
        raise does_not_fit(shown, error) from None


def read_impulse(path: Path, longest_s: float) -> tuple[Array, int]:
    """Read an impulse response: the mean of its channels, and its sample rate.

    Parameters
    ----------
    path : Path
    longest_s : float
        Of what is longer only a little more than this is read.

    Raises
    ------
    InputError
        If it cannot be read as audio.
    """
    shown = input_name(path)
    with readable(path) as audible, _opened(audible, shown) as file:
        rate = int(file.samplerate)
        if not LOWEST_IMPULSE_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
            raise InputError(
                f"{shown}: sample rate {rate} Hz; accepted: {LOWEST_IMPULSE_RATE_HZ} to"
                f" {HIGHEST_RATE_HZ} Hz"
            )
        blocks, count = [], 0
        for block in _blocks_of(shown, file):
            # What is no number, or infinite both ways, is refused by whoever asked, in words.
            with np.errstate(all="ignore"):
                blocks.append(block.mean(axis=0))
            count += block.shape[1]
            # One block more than is accepted, so that its length is refused.
            if count > longest_s * rate:
                break
        return np.concatenate(blocks) if blocks else np.zeros(0), rate


@contextmanager
def _opened(audible: Path, path: Path) -> Iterator[soundfile.SoundFile]:
    """Open audio for reading, with every failure turned into one line that names the take."""
    try:
        _require_file(audible, path)
        with _silent_decoder(audible), soundfile.SoundFile(audible) as file:
            yield file
    except (OSError, RuntimeError, ValueError, AssertionError) as error:
        # soundfile's own errors are RuntimeErrors; the others come from the system.
        reason = one_line(str(error).replace(str(audible), "").replace("Error opening '':", ""))
        raise InputError(f"{path}: cannot be read as audio: {reason}") from None


@contextmanager
def _silent_decoder(audible: Path) -> Iterator[None]:
    """Send what the MP3 decoder says of damaged frames nowhere: it writes past Python."""
    with audible.open("rb") as file:
        head = file.read(3)
    if head[:1] != b"\xff" and head != b"ID3":
        yield
        return
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _sha256(path: Path, shown: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise InputError(f"{shown}: cannot be read: {error.strerror}") from None


def _refuse_cut_short(path: Path, file: soundfile.SoundFile) -> None:
    """Refuse a WAV whose header promises more than is there.

    libsndfile quietly reads what there is, and only its log tells.
    """
    found = _CUT_SHORT.search(file.extra_info)
    if found is not None:
        promised, present = int(found[1]), int(found[2])
    elif file.format in ("W64", "RF64") and (said := _PROMISED.search(file.extra_info)):
        # The chunk's own head is counted in by one of them.
        bytes_each = _SAMPLE_BYTES.get(file.subtype, 0) * file.channels
        promised, present = int(said[1]) - _W64_HEAD_BYTES, file.frames * bytes_each
    else:
        return
    # Programs that write to a pipe cannot know the length and promise the most.
    if present < promised < _UNKNOWN_LENGTH:
        raise InputError(
            f"{path}: cut short: its header promises {promised:,} bytes of audio,"
            f" {present:,} are there"
        )


def _blocks_of(path: Path, file: soundfile.SoundFile) -> Iterator[Array]:
    """A file from where it stands, in blocks of shape (channels, n).

    In blocks, since the length that a damaged header claims cannot be trusted
    with an allocation.
    """
    _refuse_cut_short(path, file)
    promised, count = file.frames - file.tell(), 0
    while True:
        block = file.read(_READ_FRAMES, dtype="float64", always_2d=True)
        count += len(block)
        if count > LONGEST_SECONDS * file.samplerate:
            raise InputError(f"{path}: longer than {LONGEST_SECONDS:g} s")
        if len(block):
            yield block.T
        if len(block) < _READ_FRAMES:
            break
    if count < promised:
        raise InputError(
            f"{path}: damaged or cut short: its header promises {promised} samples,"
            f" {count} are there"
        )


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
                    # Rounded here, since libsndfile cuts off below when it guards against
                    # clipping, which adds half a step; and kept inside full scale.
                    steps = np.rint(32768 * frames + noise[0] - noise[1])
                    frames = np.clip(steps, -32768, 32767) / 32768
                file.write(np.ascontiguousarray(frames))
    except (RuntimeError, AssertionError) as error:
        # libsndfile reports a full disk as a short write, soundfile as a failed assertion.
        raise OSError(
            f"writing {path.name} failed: {one_line(str(error)) or 'disk full?'}"
        ) from None
