"""A take as the rest knows it: what a file holds, or an array of the caller's own."""

from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from numbers import Real

import numpy as np
from numpy.typing import ArrayLike, NDArray

from presolder.models.audio.flaws import Flaws, flaws
from presolder.models.decibels import amplitude, decibels
from presolder.models.errors import InputError, one_line
from presolder.models.typing import Array

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 44_100, 192_000
SHORTEST_SECONDS = 0.1
LONGEST_SECONDS = 3600.0
MOST_CHANNELS = 2
# Below this a take is raised by more than any interface's noise allows; common practice, no source.
QUIETEST_DBFS = -90.0
_PIECE = 1 << 16
# Full scale of whole numbers, and where their middle lies, as audio files have them.
_SCALES = {"int8": (128.0, 0), "uint8": (128.0, 128), "int16": (2.0**15, 0), "int32": (2.0**31, 0)}


@dataclass(frozen=True, eq=False)
class Take:
    """A take.

    From an array in one call: ``Take(samples, 48000)``.

    Attributes
    ----------
    samples : ndarray, shape (channels, n)
        Full scale is 1.0. Given as one channel, as (channels, n) or as (n,
        channels), in floats or in whole numbers of 8, 16 or 32 bits. Of a long
        take they lie on disk, and can only be read.
    sample_rate_hz : int
        44,100 to 192,000.
    name : str
        File name.
    sha256 : str
        Of the file's bytes; of an array, of its samples as 64-bit floats, channel by channel.
    cut : str
        What of the file was left out, in words; empty for nothing.
    whole_samples : int or None
        How long the take is, if only its beginning is held.

    Raises
    ------
    InputError
        If an array or its rate cannot be a take.
    """

    samples: Array
    sample_rate_hz: int
    name: str = "array"
    sha256: str = ""
    cut: str = ""
    whole_samples: int | None = None

    def __post_init__(self) -> None:
        for key in ("name", "sha256", "cut"):
            if not isinstance(value := getattr(self, key), str):
                raise InputError(f"{key} is a {type(value).__name__}; a text is wanted")
        # What came from a file was looked over as it was read.
        if self.sha256:
            return
        rate = _whole_rate(self.name, self.sample_rate_hz)
        samples = _by_channel(self.name, self.samples, rate)
        count = samples.shape[1]
        pieces = (samples[:, at : at + _PIECE] for at in range(0, max(count, 1), _PIECE))
        peaks = np.array([np.abs(piece).max(initial=0.0) for piece in pieces])
        require_sound(self.name, peaks, count / rate)
        object.__setattr__(self, "samples", samples)
        object.__setattr__(self, "sample_rate_hz", rate)
        object.__setattr__(self, "sha256", sha256(samples.data).hexdigest())

    @property
    def sample_count(self) -> int:
        """Length in samples, also of what is not held."""
        held = int(self.samples.shape[1])
        return held if self.whole_samples is None else self.whole_samples

    @property
    def duration_s(self) -> float:
        """Length in seconds, also of what is not held."""
        return self.sample_count / self.sample_rate_hz

    @cached_property
    def flaws(self) -> Flaws:
        """What is wrong with what is held of it."""
        return flaws(self.samples, self.sample_rate_hz)


def _whole_rate(name: str, rate: object) -> int:
    if isinstance(rate, bool | np.bool_) or not isinstance(rate, Real | np.integer):
        raise InputError(
            f"{name}: sample rate {one_line(repr(rate))[:40]} is no number; write for example 48000"
        )
    if not float(rate).is_integer():
        raise InputError(f"{name}: sample rate {rate} Hz; a whole number is accepted")
    return int(float(rate))


def _by_channel(name: str, given: ArrayLike, rate_hz: int) -> Array:
    """Samples as floats of shape (channels, n), whichever way they were given."""
    try:
        array = np.asarray(given)
    except (ValueError, TypeError, OverflowError):
        raise InputError(f"{name}: has rows of several lengths, and is no array") from None
    if array.ndim == 1:
        array = array[np.newaxis]
    if array.ndim != 2 or array.size == 0:
        raise InputError(
            f"{name}: has the shape {array.shape}; (n,), (channels, n) or (n, channels) is accepted"
        )
    # Fewer channels than samples, always: a take is a tenth of a second at least.
    if array.shape[1] < array.shape[0]:
        array = array.T
    require_format(name, array.shape[0], rate_hz)
    if array.shape[1] > LONGEST_SECONDS * rate_hz:
        raise InputError(f"{name}: longer than {LONGEST_SECONDS:g} s")
    return _as_floats(name, array)


def _as_floats(name: str, array: NDArray[np.generic]) -> Array:
    kind = str(array.dtype.newbyteorder("="))
    if array.dtype.kind == "f":
        return np.ascontiguousarray(array, dtype=np.float64)
    if kind not in _SCALES:
        raise InputError(
            f"{name}: holds {kind}; accepted: floats of full scale 1.0, or {', '.join(_SCALES)}"
        )
    scale, middle = _SCALES[kind]
    return np.ascontiguousarray((array.astype(np.float64) - middle) / scale)


def require_rate(argument: str, sample_rate_hz: float) -> None:
    """Refuse a sample rate, asked for by an argument of this name, that is not rendered.

    Raises
    ------
    InputError
        Naming the argument.
    """
    if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
        raise InputError(
            f"{argument} = {sample_rate_hz:g} must lie between {LOWEST_RATE_HZ} and"
            f" {HIGHEST_RATE_HZ}"
        )


def require_format(name: str, channels: int, sample_rate_hz: int) -> None:
    """Refuse channels and rates that are not rendered.

    Raises
    ------
    InputError
        Naming the take.
    """
    if channels > MOST_CHANNELS:
        raise InputError(f"{name}: {channels} channels; mono or stereo is accepted")
    if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
        raise InputError(
            f"{name}: sample rate {sample_rate_hz} Hz; accepted:"
            f" {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz"
        )


def require_sound(name: str, peaks: Array, seconds: float) -> None:
    """Refuse what is too short, silent, or no audio, by the peaks of its pieces.

    Raises
    ------
    InputError
        Naming the take.
    """
    if seconds < SHORTEST_SECONDS:
        raise InputError(f"{name}: {seconds:.3g} s long; at least {SHORTEST_SECONDS:g} s is needed")
    peak = peaks.max()  # NaN if any sample is
    if not np.isfinite(peak):
        raise InputError(f"{name}: holds samples that are not finite numbers (NaN or infinity)")
    if peak == 0:
        raise InputError(f"{name}: holds only silence")
    if peak > 1e6:
        raise InputError(f"{name}: peaks at {peak:.3g}, which is not audio with full scale 1.0")
    if peak < amplitude(QUIETEST_DBFS):
        raise InputError(
            f"{name}: peaks at {decibels(peak):.0f} dBFS, which is silence to every ear; at least"
            f" {QUIETEST_DBFS:g} dBFS is needed"
        )
