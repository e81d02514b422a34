"""What follows the control chain in a render: noise, dirt and loudspeaker."""

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from presolder.models.dirt import (
    driven_rig,
    driven_volts,
    knee_volts,
    loudest_second,
    pre_emphasis,
)
from presolder.models.errors import InputError, within
from presolder.models.knob import KnobPath
from presolder.models.network import Design
from presolder.models.overlap import FilterBank
from presolder.models.rig import Dirt, Rig
from presolder.models.sweep import sweep_blocks
from presolder.models.voicing import measured_speaker, noisy, plain_speaker, voiced
from presolder.render.audio import Recording, read_impulse

PLAIN_SPEAKER = "plain"
QUIETEST_HUM_DB, LOUDEST_HUM_DB = -140.0, 0.0


@dataclass(frozen=True)
class Stages:
    """The stages asked for.

    Attributes
    ----------
    dirt : Dirt or None
        Clipping stage.
    speaker : str or None
        ``"plain"`` or the path of an impulse response.
    hum_db : float or None
        Level of hum and hiss at the input the guitar feeds, relative to the
        loudest second of the take at dial 10.
    """

    dirt: Dirt | None = None
    speaker: str | None = None
    hum_db: float | None = None

    def __post_init__(self) -> None:
        if self.hum_db is not None and not QUIETEST_HUM_DB <= self.hum_db <= LOUDEST_HUM_DB:
            raise InputError(
                f"--hum-db {self.hum_db:g} must lie between {QUIETEST_HUM_DB:g}"
                f" and {LOUDEST_HUM_DB:g}"
            )


@dataclass(frozen=True, eq=False)
class ReadyStages:
    """The stages with everything that depends on the take worked out."""

    stages: Stages
    rig: Rig
    sample_rate_hz: int
    volts_per_unit: float
    noise_rms: float
    speaker: FilterBank | None

    @property
    def none(self) -> bool:
        """Whether audio passes unchanged."""
        return self.stages == Stages()

    def through(self, blocks: Iterable[NDArray[np.float64]]) -> Iterator[NDArray[np.float64]]:
        """Stream a design's audio, shape (channels, n) a block, through the stages."""
        audio = iter(blocks)
        if self.stages.hum_db is not None:
            audio = noisy(audio, self.sample_rate_hz, self.noise_rms)
        if self.stages.dirt is not None:
            # Loading the compiled loop takes time that only dirt should pay.
            from presolder.models.clip import clipped

            audio = clipped(audio, self.sample_rate_hz, self.stages.dirt, self.volts_per_unit)
        if self.speaker is not None:
            audio = voiced(audio, self.speaker)
        return audio

    def described(self) -> dict[str, Any]:
        """For the manifest."""
        dirt = self.stages.dirt
        resolved = None
        if dirt is not None:
            resolved = asdict(dirt) | {
                "knee_volts": knee_volts(dirt.kind),
                "loudest_second_volts": driven_volts(dirt),
                "volts_per_unit": self.volts_per_unit,
                "input_ohms": dirt.load.resistance_ohms,
                "input_farads": dirt.load.capacitance_farads,
            }
        speaker = self.stages.speaker
        return {
            "dirt": resolved,
            "speaker": None if speaker is None else Path(speaker).name,
            "hum_db": self.stages.hum_db,
        }


def make_ready(stages: Stages, recording: Recording, rig: Rig) -> ReadyStages:
    """Work out drive and noise from the take, and load the loudspeaker.

    Parameters
    ----------
    stages : Stages
        As asked for.
    recording : Recording
        The take.
    rig : Rig
        The instrument; a clipping stage's input replaces its load.

    Raises
    ------
    InputError
        If the impulse response cannot be used.
    """
    rate = recording.sample_rate_hz
    dirt = stages.dirt
    if dirt is not None:
        rig = driven_rig(rig, dirt)
    volts_per_unit, noise_rms = 1.0, 0.0
    if dirt is not None or stages.hum_db is not None:
        at_ten = KnobPath((0.0, recording.duration_s), (10.0, 10.0))
        # At dial 10 every design is the same circuit.
        bare = (Design("bare", None),)
        chain = [b[0] for b in sweep_blocks(recording.samples, rate, rig, bare, at_ten)]
        if dirt is not None:
            reached = loudest_second(chain, rate, pre_emphasis(dirt, rate)).peak
            volts_per_unit = driven_volts(dirt) / reached
        if stages.hum_db is not None:
            untouched = np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]])
            noise_rms = loudest_second(chain, rate, untouched).rms * 10 ** (stages.hum_db / 20)
    speaker = _load_speaker(stages.speaker, rate)
    return ReadyStages(stages, rig, rate, volts_per_unit, noise_rms, speaker)


def _load_speaker(speaker: str | None, sample_rate_hz: int) -> FilterBank | None:
    if speaker is None:
        return None
    if speaker == PLAIN_SPEAKER:
        return plain_speaker(sample_rate_hz)
    impulse, rate = read_impulse(Path(speaker))
    try:
        return measured_speaker(impulse, rate, sample_rate_hz)
    except InputError as error:
        raise within(error, f"--speaker {speaker}") from None
