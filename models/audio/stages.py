"""What follows the control chain: noise, dirt and loudspeaker, and how they join."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from presolder.models.audio.clip import clipped
from presolder.models.audio.curves import driven_volts
from presolder.models.audio.drive import loudest_second, pre_emphasis
from presolder.models.audio.overlap import FilterBank
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.voicing import noisy, voiced
from presolder.models.decibels import amplitude
from presolder.models.instrument.dirt import Dirt
from presolder.models.typing import Array


@dataclass(frozen=True, eq=False)
class Stages:
    """The stages asked for, in the order that the signal passes them.

    Attributes
    ----------
    hum_db : float or None
        Level of hum and hiss at the input the guitar feeds, relative to the
        loudest second of the take at dial 10.
    dirt : Dirt or None
        Clipping stage.
    speaker : FilterBank or None
        A loudspeaker's response.
    """

    hum_db: float | None = None
    dirt: Dirt | None = None
    speaker: FilterBank | None = None

    @property
    def none(self) -> bool:
        """Whether audio passes unchanged."""
        return self.hum_db is None and self.dirt is None and self.speaker is None


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
    noise_rms : float
        Of hum and hiss, in samples.
    """

    renderer: Renderer
    stages: Stages
    volts_per_unit: float
    noise_rms: float

    def through(self, blocks: Iterable[Array]) -> Iterator[Array]:
        """Stream a design's audio, shape (channels, n) a block, through the stages."""
        audio = iter(blocks)
        if self.stages.hum_db is not None:
            audio = noisy(audio, self.renderer.sample_rate_hz, self.noise_rms)
        if self.stages.dirt is not None:
            rate = self.renderer.sample_rate_hz
            audio = clipped(audio, rate, self.stages.dirt, self.volts_per_unit)
        if self.stages.speaker is not None:
            audio = voiced(audio, self.stages.speaker)
        return audio


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
    volts_per_unit, noise_rms = 1.0, 0.0
    if dirt is not None or stages.hum_db is not None:
        chain = list(renderer.at_ten(take))
        if dirt is not None:
            reached = loudest_second(chain, rate, pre_emphasis(dirt, rate)).peak
            volts_per_unit = driven_volts(dirt) / reached
        if stages.hum_db is not None:
            untouched = np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]])
            noise_rms = loudest_second(chain, rate, untouched).rms * amplitude(stages.hum_db)
    return Voice(renderer, stages, volts_per_unit, noise_rms)
