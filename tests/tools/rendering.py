"""Short ways to render in tests."""

import numpy as np

from presolder.models.audio.knob import KnobPath
from presolder.models.audio.renderer import Renderer
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array


def rendered(
    samples: Array,
    rate: float,
    rig: Rig,
    designs: tuple[Design, ...],
    path: KnobPath,
    block: int = 1 << 16,
) -> Array:
    """All designs' output, shape (designs, channels, n)."""
    blocks = Renderer(rig, designs, rate).along(path, np.atleast_2d(samples), block)
    return np.concatenate([np.stack(some) for some in blocks], axis=-1)


def resting(dial: float, seconds: float) -> KnobPath:
    return KnobPath((0.0, seconds), (dial, dial))


def rms(signal: Array) -> float:
    return float(np.sqrt(np.mean(np.square(signal))))


def band_rms(signal: Array, rate: float, low_hz: float, high_hz: float) -> float:
    """RMS of the part of a signal between two frequencies."""
    spectrum = np.fft.rfft(signal)
    frequency_hz = np.fft.rfftfreq(signal.size, 1 / rate)
    inside = (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
    return float(np.sqrt(2.0 * np.sum(np.abs(spectrum[inside]) ** 2)) / signal.size)
