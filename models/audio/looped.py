"""A take as a loop: its EMF, and how loud it is over the dial and in bands.

What a page that plays the loop through its own engine is told, so that it need not
measure it again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from presolder.models.audio.emf import recover_emf
from presolder.models.audio.loudness import gated_loudness, hop_powers, k_weighting, true_peak
from presolder.models.audio.positions import SignalPath
from presolder.models.audio.renderer import Renderer, advance
from presolder.models.audio.sections import power_of_sections
from presolder.models.audio.stages import voice
from presolder.models.circuit.recursion import Recursion
from presolder.models.cores import side_by_side
from presolder.models.cubic import monotone_cubic
from presolder.models.decibels import decibels
from presolder.models.instrument.dirt import Dirt
from presolder.models.typing import Array

# The loop's ends are faded, or its seam would click.
_FADE_SECONDS = 0.012
# Where loudness is tabulated; below the lowest it stays as there.
LEVEL_DIALS = np.arange(1, 161) / 16.0
# Closely, because the gates let quiet chords in or out at once, and closest where the track's
# first ohms above the wiper damp the pickup's peak.
MEASURED_DIALS = (0.25, *np.arange(0.5, 9.1, 0.5).tolist(), 9.25, 9.5, 9.75, 9.875, 10.0)


@dataclass(frozen=True, eq=False)
class Levels:
    """Loudness of designs over the dial.

    Attributes
    ----------
    level_db : ndarray, shape (designs, dials)
        LUFS at `LEVEL_DIALS`, were the EMF played as it is.
    peak_db : list of float
        Of each design at each of `MEASURED_DIALS`, between samples too.
    crest_db : float
        The most by which any of these is above its loudness.
    """

    level_db: Array
    peak_db: list[float]
    crest_db: float


@dataclass(frozen=True, eq=False)
class Bands:
    """An EMF's power in narrow bands, each of shape (b,).

    Attributes
    ----------
    middle_hz : ndarray
    weight : ndarray
        What K-weighting makes of power there.
    share : ndarray
        Of the weighted power; 1 together.
    """

    middle_hz: Array
    weight: Array
    share: Array


@dataclass(frozen=True, eq=False)
class Looped:
    """A take as a loop through some signal paths.

    Attributes
    ----------
    emf : ndarray, shape (n,)
    levels : tuple of Levels
        One a signal path.
    loudest : list of int
        For each, which of those that feed the same is loudest at 10.
    bands : Bands
    """

    emf: Array
    levels: tuple[Levels, ...]
    loudest: list[int]
    bands: Bands


def looped(signal_paths: Sequence[SignalPath], take: Array) -> Looped:
    """Make a loop of a take, whose EMF is the same in all signal paths.

    Parameters
    ----------
    signal_paths : sequence of SignalPath
        One a situation.
    take : ndarray, shape (channels, n)
    """
    nodes = loop_nodes(signal_paths[0].renderer, take)
    # Of the instants of a step the last is the sample's own.
    emf = nodes[-1]
    levels = tuple(levels_over_dial(one.renderer, nodes) for one in signal_paths)
    loudest = _loudest(signal_paths, levels, take)
    return Looped(emf, levels, loudest, bands_of(emf, signal_paths[0].renderer.sample_rate_hz))


def loop_nodes(renderer: Renderer, take: Array) -> Array:
    """The EMF of a take in one channel, its ends faded, at the instants of each step, (4, n)."""
    filters = renderer.filters
    nodes = np.concatenate(list(recover_emf([take], filters)), axis=2).mean(axis=0)
    loop = nodes[:, filters.lead : filters.lead + take.shape[1]]
    fade = min(int(_FADE_SECONDS * renderer.sample_rate_hz), loop.shape[1] // 4)
    ramp = np.sin(np.linspace(0.0, np.pi / 2, fade)) ** 2
    loop[:, :fade] *= ramp
    loop[:, -fade:] *= ramp[::-1]
    return np.ascontiguousarray(loop)


def levels_over_dial(renderer: Renderer, nodes: Array) -> Levels:
    """Loudness of each design over the dial.

    Parameters
    ----------
    renderer : Renderer
    nodes : ndarray, shape (4, n)
        The loop's EMF, from `loop_nodes`.

    Returns
    -------
    Levels

    Notes
    -----
    Loudness of ITU-R BS.1770-5 of the loop at rest at some dials, between them
    by a monotone cubic in decibels.
    """
    rate = renderer.sample_rate_hz

    def level(recursion: Recursion, dial: float) -> tuple[float, float]:
        states = np.zeros((1, recursion.state_count))
        audio = advance(recursion, np.full(nodes.shape[1], dial), nodes[np.newaxis], states)
        peak = max(true_peak(audio[0]), 1e-12)
        peak_db = float(decibels(peak))
        # As at full scale, so that the absolute gate is out of reach.
        loudness = gated_loudness(hop_powers([audio], rate) / peak**2)
        return (-99.0 if loudness is None else loudness) + peak_db, peak_db

    rows: list[Array] = []
    peaks: list[float] = []
    crests: list[float] = []
    for recursion in renderer.recursions:
        measured = list(side_by_side(partial(level, recursion), MEASURED_DIALS))
        levels, peaks_db = zip(*measured, strict=True)
        peaks += peaks_db
        crests += [peak_db - level_db for level_db, peak_db in measured]
        wanted = np.maximum(LEVEL_DIALS, MEASURED_DIALS[0])
        rows.append(monotone_cubic(np.array(MEASURED_DIALS), np.array(levels), wanted))
    return Levels(np.array(rows), peaks, max(crests))


def _loudest(
    signal_paths: Sequence[SignalPath], levels: Sequence[Levels], take: Array
) -> list[int]:
    """For each situation, which of those that feed the same is loudest at 10.

    Into a curve, by what comes into it.
    """
    if len(signal_paths) == 1:
        return [0]
    volts = [
        voice(one.renderer, one.stages, take).volts_per_unit
        if isinstance(one.stages.dirt, Dirt)
        else -float(own.level_db[0, -1])
        for one, own in zip(signal_paths, levels, strict=True)
    ]
    curves = (one.stages.dirt for one in signal_paths)
    # A circuit the page does not play.
    dirts = [dirt if isinstance(dirt, Dirt) else None for dirt in curves]
    return [
        min((i for i in range(len(signal_paths)) if dirts[i] == own), key=volts.__getitem__)
        for own in dirts
    ]


def bands_of(emf: Array, rate: float) -> Bands:
    """K-weighted power of an EMF in narrow bands: what changed parts do to its loudness."""
    hz = np.fft.rfftfreq(emf.size, 1.0 / rate)[1:]
    weight = power_of_sections(k_weighting(rate), hz, rate)
    power = np.square(np.abs(np.fft.rfft(emf)[1:])) * weight
    edges = np.geomspace(60.0, min(16_000.0, 0.45 * rate), 40)
    sums = np.histogram(hz, edges, weights=power)[0]
    middles = np.sqrt(edges[1:] * edges[:-1])
    at_middles = power_of_sections(k_weighting(rate), middles, rate)
    return Bands(middles, at_middles, sums / max(float(sums.sum()), 1e-30))
