"""Tones and playing through a dirt at each dial: how it cleans up by what comes out.

What a stage adds that is not linearly related to what goes in is told by the
magnitude-squared coherence of both (Bendat and Piersol, Random Data, chapter
6): 1 less coherence is the share of the output's power that no linear response
explains. It needs no sine, so that it can be asked of playing, where a stage's
working point moves and notes beat against each other.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import scipy

from presolder.models.audio.driven import Driven, advance, at_rest
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.stages import Stages, voice
from presolder.models.circuit.equations import chain_equations
from presolder.models.cores import side_by_side
from presolder.models.decibels import amplitude, decibels, power_decibels
from presolder.models.instrument.dirt import load_of
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.judging.character import balance
from presolder.models.judging.tones import (
    TONES_HZ,
    TOUCHES_DB,
    Cleanup,
    falls_through,
    total_harmonic_distortion,
)
from presolder.models.typing import Array

Figures = TypeVar("Figures")
DIALS = (2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)
# Until capacitors have settled, then whole periods of every tone.
_RISE_S, _SETTLING_S, _MEASURED_S = 0.02, 0.2, 0.1
# Of a chord's peak, what one string has; common practice, no source.
ONE_STRING = 0.2
_SEGMENT_S = 0.085
_BAND_HZ = (60.0, 10_000.0)
# Between what is body and what is edge; common practice, no source.
_EDGE_HZ = 1500.0
# Played notes with a tenth of their amplitude unrelated to the strings pass for clean, and less
# than a hundredth is lost in the estimate; common practice, no source.
CLEAN, _FLOOR = 0.1, 0.01
_TONE_RATE_HZ = 48_000
_HARMONICS_TO_HZ = 20_000.0


@dataclass(frozen=True, eq=False)
class Played:
    """One design under playing, each of shape (dials,), dials rising to the highest.

    Attributes
    ----------
    dial : ndarray
    distortion : ndarray
        Of the output, the root of the share of power that is not linearly
        related to what the chain gives without the stage.
    level_db : ndarray
        RMS after the stage, re that of the first design at the highest dial.
    brightness_db : ndarray
        Power above 1.5 kHz over power below, after the stage, re the same.
    """

    dial: Array
    distortion: Array
    level_db: Array
    brightness_db: Array

    @property
    def clean_dial(self) -> float | None:
        """Where its distortion falls through `CLEAN`; None if nowhere."""
        return falls_through(self.dial, self.distortion, CLEAN)

    @property
    def unevenness_db(self) -> float:
        """By how much its steps from dial to dial differ: their standard deviation."""
        steps = np.diff(decibels(np.maximum(self.distortion, _FLOOR))) / np.diff(self.dial)
        return float(np.std(steps)) if steps.size else 0.0

    @property
    def edge_left_db(self) -> float:
        """Its brightness where it is clean, or as far down as was played."""
        clean = self.clean_dial
        at = self.dial[0] if clean is None else clean
        return float(np.interp(at, self.dial, self.brightness_db))


def cleaning_order(figures: tuple[Played, ...]) -> list[int]:
    """Designs by how early they clean up, and where that is alike by the edge that is left.

    Parameters
    ----------
    figures : tuple of Played

    Returns
    -------
    list of int
        Indices, the best first. Dials count to the nearest half; those that
        never clean come last.
    """

    def key(index: int) -> tuple[float, float]:
        one = figures[index]
        clean = one.clean_dial
        return (0.0 if clean is None else -round(2 * clean)), -one.edge_left_db

    return sorted(range(len(figures)), key=key)


def played(
    rig: Rig,
    designs: tuple[Design, ...],
    stages: Stages,
    take: Array,
    sample_rate_hz: float,
    dial: Array,
    progress: Callable[[int], None],
) -> tuple[Played, ...]:
    """Play a take through each design held at each dial, into the dirt.

    Parameters
    ----------
    rig : Rig
    designs : tuple of Design
    stages : Stages
        With a dirt; hum and hiss where wanted, which count as distortion, since
        they are not the take.
    take : ndarray, shape (channels, n)
    sample_rate_hz : float
    dial : ndarray, shape (d,)
        Rising, above 0.
    progress : callable
        Called with 1 after each dial.

    Returns
    -------
    tuple of Played
        In the designs' order.
    """
    assert stages.dirt is not None
    heard = voice(Renderer(rig, designs, sample_rate_hz), stages, take)
    # Coherence does not change with a linear chain, so the take stands for the chain's output.
    seconds = take.shape[1] / sample_rate_hz

    def at(stand: float) -> list[tuple[float, float, float]]:
        path = KnobPath((0.0, seconds), (stand, stand))
        return [compared(take, audio, sample_rate_hz) for audio in heard.whole(path, take)]

    figures = np.array(list(_side_by_side(at, dial.tolist(), progress)))
    distortion, level_db, brightness_db = np.moveaxis(figures, (2, 1, 0), (0, 1, 2))
    return tuple(
        Played(
            dial,
            distortion[design],
            level_db[design] - level_db[0, -1],
            brightness_db[design] - brightness_db[0, -1],
        )
        for design in range(len(designs))
    )


def compared(take: Array, audio: Array, sample_rate_hz: float) -> tuple[float, float, float]:
    """Distortion, level in dB and brightness in dB of one rendering of a take.

    Parameters
    ----------
    take, audio : ndarray, shape (channels, n)
        What was played, and what became of it; of the louder channel.
    sample_rate_hz : float
    """
    rate = sample_rate_hz
    size = 1 << round(np.log2(_SEGMENT_S * rate))
    loud = max(range(len(take)), key=lambda channel: float(np.square(take[channel]).sum()))
    hz, cross = scipy.signal.csd(take[loud], audio[loud], rate, nperseg=size)
    _, source = scipy.signal.welch(take[loud], rate, nperseg=size)
    _, output = scipy.signal.welch(audio[loud], rate, nperseg=size)
    band = (hz >= _BAND_HZ[0]) & (hz <= _BAND_HZ[1]) & (source > 0)
    related = np.square(np.abs(cross[band])) / source[band]
    whole = max(float(output[band].sum()), 1e-30)
    distortion = np.sqrt(max(1.0 - float(related.sum()) / whole, 0.0))
    edge = band & (hz >= _EDGE_HZ)
    bright = float(output[edge].sum()) / max(float(output[band & ~edge].sum()), 1e-30)
    level_db = float(decibels(np.sqrt(np.mean(np.square(audio[loud]))) + 1e-12))
    return float(distortion), level_db, float(power_decibels(bright + 1e-12))


def tones(
    rig: Rig,
    designs: tuple[Design, ...],
    stage: Stage,
    dial: Array,
    frequency_hz: float,
    progress: Callable[[int], None],
) -> tuple[Cleanup, ...]:
    """Tones through each design into a circuit, at each dial.

    Parameters
    ----------
    rig : Rig
    designs : tuple of Design
    stage : Stage
        Its touch, and the pickup's output, say how strong the EMF is.
    dial : ndarray, shape (d,)
        Rising, above 0.
    frequency_hz : float
        The reference tone.
    progress : callable
        Called with 1 after each dial of a design.

    Returns
    -------
    tuple of Cleanup
        In the designs' order.
    """
    fed = rig.feeding(load_of(stage))
    volts = ONE_STRING * rig.volts_into(stage)
    driven = Driven(fed, designs, _TONE_RATE_HZ, 1.0)
    asked = {(hz, touch) for touch in TOUCHES_DB for hz in TONES_HZ} | {(frequency_hz, 0.0)}
    own = (frequency_hz, 0.0)
    found = []
    for index, design in enumerate(designs):

        def at(stand: float, index: int = index) -> dict[tuple[float, float], Array]:
            return {
                (hz, touch): _tone(driven, index, stand, hz, volts * amplitude(touch))
                for hz, touch in asked
            }

        heard = list(_side_by_side(at, dial.tolist(), progress))
        thd = {
            one: np.array([float(total_harmonic_distortion(tone[one])) for tone in heard])
            for one in asked
        }
        power = np.array([0.5 * float(np.square(tone[own]).sum()) for tone in heard])
        _, treble_db = balance(chain_equations(fed, design.network), dial)
        others = np.array([[thd[hz, touch] for hz in TONES_HZ] for touch in TOUCHES_DB])
        level_db = power_decibels(power) + stage.level_db
        found.append(Cleanup(dial, thd[own], level_db, treble_db, others))
    return tuple(found)


def _side_by_side(
    at: Callable[[float], Figures], dials: list[float], progress: Callable[[int], None]
) -> Iterator[Figures]:
    """What `at` gives at each dial, on all cores: the loops leave the interpreter to others.

    The first is alone, so that tables and filters that all share are made once.
    """
    yield at(dials[0])
    progress(1)
    for figures in side_by_side(at, dials[1:]):
        yield figures
        progress(1)


def _tone(driven: Driven, design: int, dial: float, frequency_hz: float, volts: float) -> Array:
    """Peak amplitudes of a tone's harmonics up to 20 kHz, after the circuit has settled."""
    steps, fine = driven.steps[design], driven.oversampling
    per_second = _TONE_RATE_HZ * fine
    periods = max(1, round(_MEASURED_S * frequency_hz))
    whole = round(periods / frequency_hz * per_second)
    count = int(np.ceil((_SETTLING_S * per_second + whole) / fine))
    time_s = np.arange(1, count * fine + 1) / per_second
    emf = volts * np.minimum(time_s / _RISE_S, 1.0) * np.sin(2 * np.pi * frequency_hz * time_s)
    out = np.empty(count * fine)
    emf = np.ascontiguousarray(emf.reshape(count, fine).T)
    failed = advance(steps, np.full(count, dial), emf, at_rest(steps, 1)[0], out)
    driven.require_solved(design, failed, 0)
    orders = np.arange(1, max(1, int(_HARMONICS_TO_HZ / frequency_hz)) + 1)
    return np.asarray(2.0 / whole * np.abs(np.fft.rfft(out[-whole:])[periods * orders]))
