"""How far a take that nothing was done to comes out as it went in."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from check_row import Row
from presolder.models.audio.emf import NULL_BANDS_HZ
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array
from presolder.render.files.audio import read_recording
from presolder.render.files.rig_file import built_in_rigs, find_situations
from rendering import rendered, resting
from takes import SAMPLES

BARE = Design("bare", None)
LIMIT_DB = -140.0
NOISE_LIMIT_DB = -120.0
# Lower than this is rounding, which differs between machines.
_ROUNDING_DB = -150.0
# Of a half second, whose window does not tell lower ones apart.
_HALF_HZ = (40.0, 16_000.0)


def bundled() -> dict[str, tuple[Array, int]]:
    takes = {
        name: read_recording(SAMPLES / f"{name}.flac") for name in ("chords", "phrase", "string")
    }
    return {name: (take.samples, take.sample_rate_hz) for name, take in takes.items()}


def noise(rate: int, seconds: float = 3.0) -> Array:
    return np.random.default_rng(0).normal(0.0, 0.1, (1, round(seconds * rate)))


def band(signal: NDArray[np.float64], rate: int, low_hz: float, high_hz: float) -> float:
    """RMS of a band, by a window whose own leakage is below -180 dB."""
    spectrum = np.fft.rfft(signal * np.kaiser(signal.size, 20.0))
    hz = np.fft.rfftfreq(signal.size, 1.0 / rate)
    inside = (hz >= low_hz) & (hz <= high_hz)
    return float(np.sqrt(np.mean(np.square(np.abs(spectrum[inside])))))


def worst_null_db(rig: Rig, take: Array, rate: int) -> float:
    """What is left of a take at 10, at worst of its bands and of its half seconds by themselves."""
    (output,) = rendered(take, rate, rig, (BARE,), resting(10.0, take.shape[1] / rate))
    whole, left, half = take[0], output[0] - take[0], rate // 2
    pieces = [
        *((whole, left, edges) for edges in NULL_BANDS_HZ),
        *(
            (whole[at : at + half], left[at : at + half], _HALF_HZ)
            for at in range(0, whole.size - half + 1, half)
        ),
    ]
    ratios = [band(b, rate, *edges) / band(a, rate, *edges) for a, b, edges in pieces]
    return float(20 * np.log10(max(ratios) + 1e-30))


def at_their_takes() -> Iterator[tuple[str, Rig]]:
    """Each built-in rig as it stood while its takes are made: its first situation that is so."""
    for name in built_in_rigs():
        for situation in find_situations(name):
            rig, stood = situation.rig, situation.rig.take.rig
            if stood is not None and (rig.channels, rig.load) == (stood.channels, stood.load):
                yield name, rig
                break


def nulls() -> list[Row]:
    """A row a rig."""
    takes = bundled().values()
    return [
        Row(
            "the take itself",
            f"{name} at 10, nothing changed: three takes, by band from 20 Hz to 16 kHz and by half"
            " second: what is left",
            len(takes),
            max(_ROUNDING_DB, *(worst_null_db(rig, *take) for take in takes)),
            LIMIT_DB,
            "dB",
        )
        for name, rig in at_their_takes()
    ]
