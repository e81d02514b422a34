"""Short ways to render in tests."""

from dataclasses import replace

import numpy as np
from click.testing import CliRunner
from numpy.typing import NDArray

from presolder.models.knob import KnobPath
from presolder.models.network import Design
from presolder.models.rig import Rig, Take
from presolder.models.sweep import sweep_blocks
from presolder.render.cli import cli

Array = NDArray[np.float64]


def rendered(
    samples: Array,
    rate: float,
    rig: Rig,
    designs: tuple[Design, ...],
    path: KnobPath,
    block: int = 1 << 16,
) -> Array:
    """All designs' output, shape (designs, channels, n)."""
    blocks = sweep_blocks(np.atleast_2d(samples), rate, rig, designs, path, block)
    return np.concatenate([np.stack(some) for some in blocks], axis=-1)


def resting(dial: float, seconds: float) -> KnobPath:
    return KnobPath((0.0, seconds), (dial, dial))


def as_string_take(rig: Rig) -> Rig:
    return replace(rig, take=Take("string"))


def in_process(*arguments: str) -> str:
    """Standard output of a command, without starting an interpreter for it."""
    result = CliRunner().invoke(cli, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


def rms(signal: Array) -> float:
    return float(np.sqrt(np.mean(np.square(signal))))


def band_rms(signal: Array, rate: float, low_hz: float, high_hz: float) -> float:
    """RMS of the part of a signal between two frequencies."""
    spectrum = np.fft.rfft(signal)
    frequency_hz = np.fft.rfftfreq(signal.size, 1 / rate)
    inside = (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
    return float(np.sqrt(2.0 * np.sum(np.abs(spectrum[inside]) ** 2)) / signal.size)
