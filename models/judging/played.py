"""Tones and playing through a dirt at each dial: how it cleans up by what comes out.

What a stage adds that is not linearly related to what goes in is told by the
magnitude-squared coherence of both (Bendat and Piersol, Random Data, chapter
6): 1 less coherence is the share of the output's power that no linear response
explains. It needs no sine, so that it can be asked of playing, where a stage's
working point moves and notes beat against each other.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from presolder.models.audio.driven import Driven, advance, at_rest
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.stages import Stages, Voice, voice
from presolder.models.circuit.equations import chain_equations
from presolder.models.cores import side_by_side
from presolder.models.decibels import amplitude, decibels, power, power_decibels
from presolder.models.hearing.bands import third_octave_db
from presolder.models.hearing.change import Sound, sound
from presolder.models.hearing.material import line_powers
from presolder.models.instrument.dirt import load_of, picked
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.judging.character import balance
from presolder.models.judging.ear import Ear, squared_size
from presolder.models.judging.tones import (
    TONES_HZ,
    Cleanup,
    falls_through,
    total_harmonic_distortion,
)
from presolder.models.typing import Array, ComplexArray

Figures = TypeVar("Figures")
_BARE = Design("bare", None)
# Of the loudest second and what comes before it: circuits take their time.
_PLAYED_INTO_CIRCUITS_S = 0.7
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
    """One design under playing, each of shape (d,).

    Attributes
    ----------
    dial : ndarray
        Rising.
    distortion : ndarray
        Of the output, the root of the share of power that is not linearly
        related to what the chain gives without the stage.
    level_db : ndarray
        RMS after the stage, re the guitar at 10.
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


def _voices(ear: Ear, designs: Sequence[Design], stages: Stages) -> tuple[Voice, Voice]:
    """Of the designs, and of the bare pot alone; driven by the take's loudest second."""
    second, rate = (
        ear.conditions.material.excerpt[np.newaxis],
        ear.conditions.material.sample_rate_hz,
    )
    whole = Renderer(ear.rig, tuple(designs), rate)
    alone = Renderer(ear.rig, (_BARE,), rate, whole.filters)
    voices = voice(whole, stages, second), voice(alone, stages, second)
    for one in voices:
        one.prepare()
    return voices


@dataclass(frozen=True, eq=False)
class Out:
    """What comes out of a dirt at d dials, of n designs.

    Attributes
    ----------
    dial : ndarray, shape (d,)
    levels_db : ndarray, shape (n, d, 28)
        Third octaves at the ear.
    ideal : Sound
        Of shape (d,): the bare pot at 10, the strings' EMF turned down as the knob is
        meant to turn it down.
    ten : Sound
        At 10.
    take : ndarray, shape (1, n)
        What was played.
    sample_rate_hz : float
    audio : tuple of tuple of ndarray
        What came out of each design at each dial.
    ideal_audio : tuple of ndarray
        Of the ideal at each dial.
    ten_audio : ndarray
    """

    dial: Array
    levels_db: Array
    ideal: Sound
    ten: Sound
    take: Array
    sample_rate_hz: float
    audio: tuple[tuple[Array, ...], ...]
    ideal_audio: tuple[Array, ...]
    ten_audio: Array

    @cached_property
    def figures(self) -> tuple[Played, ...]:
        """Distortion, level and brightness of the designs."""
        return tuple(self._figures(own) for own in self.audio)

    @cached_property
    def ideal_figures(self) -> Played:
        """The same of the ideal."""
        return self._figures(self.ideal_audio)

    @cached_property
    def _taken(self) -> ComplexArray:
        return _segments(self.take[0], self.sample_rate_hz)

    def _figures(self, audio: tuple[Array, ...]) -> Played:
        """Re the guitar at 10; dials rising."""
        order = np.argsort(self.dial)
        # Coherence does not change with a linear chain: the take stands for the chain's output.
        sounds = [self.ten_audio, *(audio[at] for at in order)]
        (_, level, brightness), *told = (
            _compared(self._taken, one[0], self.sample_rate_hz) for one in sounds
        )
        distortion, level_db, brightness_db = np.array(told).T
        return Played(self.dial[order], distortion, level_db - level, brightness_db - brightness)


def come_out(
    ear: Ear,
    designs: Sequence[Design],
    dial: Array | None = None,
    *,
    hum_db: float | None = None,
    progress: Callable[[int], None] = lambda _: None,
) -> Out:
    """Play the take's loudest second through designs held at each dial, into the dirt.

    Parameters
    ----------
    ear : Ear
        With a dirt.
    designs : sequence of Design
    dial : ndarray, shape (d,), optional
        Above 0; by default where the player leaves the knob.
    hum_db : float, optional
        Hum and hiss as of `Stages`; they count as distortion, since they are not the take.
    progress : callable
        Called with 1 after each dial.
    """
    conditions, stages = ear.conditions, Stages(hum_db, ear.dirt)
    dials, material = conditions.dials if dial is None else dial, conditions.material
    second, rate = material.excerpt[np.newaxis], material.sample_rate_hz
    heard, alone = _voices(ear, designs, stages)
    # The drive is set by all of it.
    take = second
    if isinstance(ear.dirt, Stage):
        take = second[:, : round(_PLAYED_INTO_CIRCUITS_S * rate)]
    down = [1.0, *(amplitude(float(db)) for db in ear.turned_down_db(dials))]
    work: list[tuple[Voice, float, float]] = [(alone, DIAL_MAX, gain) for gain in down]
    work += [(heard, float(stand), 1.0) for stand in dials]

    def played(one: tuple[Voice, float, float]) -> list[Array]:
        through, stand, gain = one
        path = KnobPath((0.0, take.shape[1] / rate), (stand, stand))
        audio = through.whole(path, gain * take)
        progress(int(through is heard))
        return audio

    done = list(side_by_side(played, work))
    (ten_audio, *ideal_audio), audio = [one[0] for one in done[: len(down)]], done[len(down) :]

    def lines(sounds: Sequence[Array]) -> Array:
        powers = np.array([line_powers(one[0], rate) for one in sounds])
        return powers if conditions.speaker_power is None else powers * conditions.speaker_power

    ten = lines([ten_audio])[0]
    level = power(conditions.listening_level_db - material.crest_db) / ten.sum()
    return Out(
        dials,
        np.stack([third_octave_db(level * lines(at_dial)) for at_dial in audio], axis=1),
        sound(third_octave_db(level * lines(ideal_audio))),
        sound(third_octave_db(level * ten)),
        take,
        rate,
        tuple(zip(*audio, strict=True)),
        tuple(ideal_audio),
        ten_audio,
    )


def by_strength(
    ear: Ear,
    designs: Sequence[Design],
    dial: Array,
    strengths_db: Array,
    progress: Callable[[int], None] = lambda _: None,
) -> Array:
    """Distortion of playing at each dial, by how hard the strings are picked.

    Parameters
    ----------
    ear : Ear
        With a dirt.
    designs : sequence of Design
    dial : ndarray, shape (d,)
        Rising, above 0.
    strengths_db : ndarray, shape (s,)
        How much harder than now.
    progress : callable
        As for `come_out`.

    Returns
    -------
    ndarray, shape (n, s, d)
        As `Played.distortion`.
    """
    assert ear.dirt is not None
    rows = []
    for harder_db in strengths_db:
        dirt = picked(ear.dirt, float(harder_db))
        out = come_out(
            replace(ear, rig=replace(ear.rig, dirt=dirt)), designs, dial, progress=progress
        )
        rows.append([one.distortion for one in out.figures])
    return np.swapaxes(np.array(rows), 0, 1)


def compared(take: Array, audio: Array, sample_rate_hz: float) -> tuple[float, float, float]:
    """Distortion, level in dB and brightness in dB of one rendering of a take.

    Parameters
    ----------
    take, audio : ndarray, shape (channels, n)
        What was played, and what became of it; of the louder channel.
    sample_rate_hz : float
    """
    loud = max(range(len(take)), key=lambda channel: float(np.square(take[channel]).sum()))
    return _compared(_segments(take[loud], sample_rate_hz), audio[loud], sample_rate_hz)


def _segments(samples: Array, sample_rate_hz: float) -> ComplexArray:
    """Spectra of overlapping Hann windows without their mean (Welch), shape (segments, f)."""
    size = 1 << round(np.log2(_SEGMENT_S * sample_rate_hz))
    frames = np.lib.stride_tricks.sliding_window_view(samples, size)[:: size // 2]
    frames = frames - frames.mean(axis=1, keepdims=True)
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(size) / size)
    return np.asarray(np.fft.rfft(frames * window), dtype=np.complex128)


def _compared(
    taken: ComplexArray, samples: Array, sample_rate_hz: float
) -> tuple[float, float, float]:
    out = _segments(samples, sample_rate_hz)
    size = 2 * (out.shape[1] - 1)
    hz = np.fft.rfftfreq(size, 1.0 / sample_rate_hz)
    source, output = (squared_size(one).mean(axis=0) for one in (taken, out))
    cross = (np.conj(taken) * out).mean(axis=0)
    band = (hz >= _BAND_HZ[0]) & (hz <= _BAND_HZ[1]) & (source > 0)
    related = squared_size(cross[band]) / source[band]
    whole = max(float(output[band].sum()), 1e-30)
    distortion = np.sqrt(max(1.0 - float(related.sum()) / whole, 0.0))
    edge = band & (hz >= _EDGE_HZ)
    bright = float(output[edge].sum()) / max(float(output[band & ~edge].sum()), 1e-30)
    level_db = float(decibels(np.sqrt(np.mean(np.square(samples))) + 1e-12))
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
    asked = {*TONES_HZ, frequency_hz}
    found = []
    for index, design in enumerate(designs):

        def at(stand: float, index: int = index) -> dict[float, Array]:
            return {hz: _tone(driven, index, stand, hz, volts) for hz in asked}

        heard = list(_side_by_side(at, dial.tolist(), progress))
        thd = {
            hz: np.array([float(total_harmonic_distortion(tone[hz])) for tone in heard])
            for hz in asked
        }
        power = np.array([0.5 * float(np.square(tone[frequency_hz]).sum()) for tone in heard])
        _, treble_db = balance(chain_equations(fed, design.network), dial)
        others = np.array([[thd[hz] for hz in TONES_HZ]])
        level_db = power_decibels(power) + stage.level_db
        found.append(Cleanup(dial, thd[frequency_hz], level_db, treble_db, others))
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
