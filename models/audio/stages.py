"""What follows the control chain: noise, dirt and loudspeaker, and how they join."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from presolder.models.audio.clip import clipped
from presolder.models.audio.curves import driven_volts
from presolder.models.audio.drive import loudest_second, pre_emphasis
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.overlap import FilterBank
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.voicing import hum_and_hiss, voiced
from presolder.models.decibels import amplitude
from presolder.models.instrument.dirt import Dirt
from presolder.models.typing import Array

# Longer noise repeats, which nobody hears.
_NOISE_SECONDS = 60.0
_MEASURED_SECONDS = 2.0
_UNTOUCHED = np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]])


@dataclass(frozen=True, eq=False)
class Stages:
    """The stages asked for, in the order that the signal passes them.

    Attributes
    ----------
    hum_db : float or None
        Level of the coil's hum and hiss at the input the guitar feeds, at dial
        10, relative to the loudest second of the take there. They come in with
        the EMF, so that the knob turns them down.
    dirt : Dirt or None
        Clipping stage.
    speaker : FilterBank or None
        A loudspeaker's response.
    """

    hum_db: float | None = None
    dirt: Dirt | None = None
    speaker: FilterBank | None = None

    @property
    def nothing_after(self) -> bool:
        """Whether audio passes unchanged after the chain."""
        return self.dirt is None and self.speaker is None


@dataclass(frozen=True, eq=False)
class Voice:
    """A chain and its stages, with everything that depends on the take worked out.

    Attributes
    ----------
    renderer : Renderer
        Of the chain; with dirt it feeds the dirt's input.
    stages : Stages
    volts_per_unit : float
        Volts at the clipping curve for a sample value of 1.
    noise_gain : float
        Of the coil's hum and hiss, which go through the chain; 0 for none.
    """

    renderer: Renderer
    stages: Stages
    volts_per_unit: float
    noise_gain: float

    def along(self, path: KnobPath, take: Array) -> Iterator[list[Array]]:
        """Render a take along a path as `Renderer.along` does, hum and hiss of the coil with it."""
        clean = self.renderer.along(path, take)
        if not self.noise_gain:
            yield from clean
            return
        rate = self.renderer.sample_rate_hz
        count = round(min(path.duration_s, _NOISE_SECONDS) * rate)
        noise = np.tile(self.noise_gain * hum_and_hiss(count, rate), (take.shape[0], 1))
        of_coil = self.renderer.of_emf().along(path, noise)
        for blocks, others in zip(clean, of_coil, strict=True):
            yield [block + other for block, other in zip(blocks, others, strict=True)]

    def through(self, blocks: Iterable[Array]) -> Iterator[Array]:
        """Stream a design's audio, shape (channels, n) a block, through the stages."""
        audio = iter(blocks)
        if self.stages.dirt is not None:
            rate = self.renderer.sample_rate_hz
            audio = clipped(audio, rate, self.stages.dirt, self.volts_per_unit)
        if self.stages.speaker is not None:
            audio = voiced(audio, self.stages.speaker)
        return audio

    def whole(self, path: KnobPath, take: Array) -> list[Array]:
        """Every design's audio along a path through the stages, shape (channels, n) each."""
        designs = zip(*self.along(path, take), strict=True)
        return [np.concatenate(list(self.through(blocks)), axis=1) for blocks in designs]


def voice(renderer: Renderer, stages: Stages, take: Array) -> Voice:
    """Join a chain and its stages, drive and noise set by the take.

    Parameters
    ----------
    renderer : Renderer
        Into the rig's own input; a clipping stage's input replaces it.
    stages : Stages
    take : ndarray, shape (channels, n)

    Returns
    -------
    Voice
    """
    rate, dirt = renderer.sample_rate_hz, stages.dirt
    if dirt is not None:
        renderer = renderer.into(dirt.load)
    volts_per_unit, noise_gain = 1.0, 0.0
    if dirt is not None or stages.hum_db is not None:
        chain = list(renderer.at_ten(take))
        if dirt is not None:
            reached = loudest_second(chain, rate, pre_emphasis(dirt, rate)).peak
            volts_per_unit = driven_volts(dirt) / reached
        if stages.hum_db is not None:
            noise = hum_and_hiss(round(_MEASURED_SECONDS * rate), rate)[np.newaxis]
            of_coil = list(renderer.of_emf().at_ten(noise))
            wanted = loudest_second(chain, rate, _UNTOUCHED).rms * amplitude(stages.hum_db)
            noise_gain = wanted / loudest_second(of_coil, rate, _UNTOUCHED).rms
    return Voice(renderer, stages, volts_per_unit, noise_gain)
