"""What follows the control chain: noise, dirt and loudspeaker, and how they join."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from presolder.models.audio.clip import clipped
from presolder.models.audio.drive import loudest_second, pre_emphasis
from presolder.models.audio.driven import Driven, emf_volts_for
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.overlap import FilterBank, taken_from
from presolder.models.audio.renderer import Renderer, sample_count
from presolder.models.audio.static_curves import driven_volts
from presolder.models.audio.voicing import hum_and_hiss, noise_pieces, voiced
from presolder.models.decibels import amplitude
from presolder.models.instrument.dirt import AnyDirt, Dirt, load_of
from presolder.models.instrument.stage import Stage
from presolder.models.typing import Array

_MEASURED_SECONDS = 2.0


@dataclass(frozen=True, eq=False)
class Stages:
    """The stages asked for, in the order that the signal passes them.

    Attributes
    ----------
    hum_db : float or None
        Level of the coil's hum and hiss at the input the guitar feeds, at dial
        10, relative to the loudest second of the take there. They come in with
        the EMF, so that the knob turns them down.
    dirt : Dirt, Stage or None
        Clipping curve, or a circuit that the guitar feeds.
    speaker : FilterBank or None
        A loudspeaker's response.
    """

    hum_db: float | None = None
    dirt: AnyDirt | None = None
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
    renderer : Renderer or Driven
        Of the chain; with a curve it feeds the curve's input. With a circuit,
        of chain and circuit together.
    stages : Stages
    volts_per_unit : float
        Volts at the clipping curve for a sample value of 1; with a circuit, of
        EMF for a recovered EMF of 1.
    noise_gain : float
        Of the coil's hum and hiss, which go through the chain beside the take; 0 for
        none, and where a circuit has them among its EMF.
    """

    renderer: Renderer | Driven
    stages: Stages
    volts_per_unit: float
    noise_gain: float

    def prepare(self) -> None:
        """Make what all renders share, before several begin at once."""
        renderer = self.renderer
        _ = (
            renderer.filters,
            (renderer.steps if isinstance(renderer, Driven) else renderer.recursions),
        )

    def along(self, path: KnobPath, take: Array) -> Iterator[list[Array]]:
        """Render a take along a path as `Renderer.along` does, hum and hiss of the coil with it."""
        clean = self.renderer.along(path, take)
        if isinstance(self.renderer, Driven) or not self.noise_gain:
            yield from clean
            return
        rate = self.renderer.sample_rate_hz
        noise = (
            np.tile(self.noise_gain * piece, (take.shape[0], 1))
            for piece in noise_pieces(sample_count(path, rate), rate)
        )
        hummed = self.renderer.of_emf().along_pieces(path, noise)
        of_coil = taken_from(np.stack(blocks) for blocks in hummed)
        for blocks in clean:
            others = of_coil(blocks[0].shape[1])
            yield [block + other for block, other in zip(blocks, others, strict=True)]

    def through(self, blocks: Iterable[Array]) -> Iterator[Array]:
        """Stream a design's audio, shape (channels, n) a block, through the stages."""
        audio = iter(blocks)
        if isinstance(self.stages.dirt, Dirt):
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
        renderer = renderer.into(load_of(dirt))
    volts_per_unit, noise_gain = 1.0, 0.0
    if isinstance(dirt, Dirt):
        reached = loudest_second(renderer.at_ten(take), rate, pre_emphasis(dirt, rate))
        volts_per_unit = driven_volts(dirt) / reached.ordinary_peak
    if stages.hum_db is not None:
        noise = hum_and_hiss(round(_MEASURED_SECONDS * rate), rate)[np.newaxis]
        of_coil = renderer.of_emf().at_ten(noise)
        # Rendered once more, since a long take's audio is not to be kept.
        wanted = loudest_second(renderer.at_ten(take), rate).rms * amplitude(stages.hum_db)
        noise_gain = wanted / loudest_second(of_coil, rate).rms
    if isinstance(dirt, Stage):
        volts_per_unit = emf_volts_for(renderer.rig, dirt, take, rate)
        driven = Driven(renderer.rig, renderer.designs, rate, volts_per_unit, noise_gain)
        return Voice(driven, stages, volts_per_unit, 0.0)
    return Voice(renderer, stages, volts_per_unit, noise_gain)


def evenly_driven(voices: Sequence[Voice]) -> list[Voice]:
    """Voices of one guitar, those into the same curve with its drive set once for all.

    It is set for the voice that comes in loudest at dial 10; the others reach
    the curve with as much less as they are softer. A circuit is left as it is,
    since what reaches it follows from the pickups' outputs.

    Parameters
    ----------
    voices : sequence of Voice
        Of the same take.

    Returns
    -------
    list of Voice
    """
    volts: dict[Dirt, float] = {}
    for voice in voices:
        if isinstance(dirt := voice.stages.dirt, Dirt):
            volts[dirt] = min(voice.volts_per_unit, volts.get(dirt, np.inf))
    return [
        replace(voice, volts_per_unit=volts[voice.stages.dirt])
        if isinstance(voice.stages.dirt, Dirt)
        else voice
        for voice in voices
    ]
