"""What shall follow the control chain, as chosen and as loaded."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from presolder.models.audio.renderer import Renderer
from presolder.models.audio.stages import Stages, Voice, voice
from presolder.models.audio.static_curves import driven_volts, knee_volts
from presolder.models.audio.voicing import require_hum
from presolder.models.circuit.entrance import entrance_ohms
from presolder.models.errors import place
from presolder.models.instrument.dirt import AnyDirt, Dirt
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.render.files.speaker import load_speaker
from presolder.render.files.take import Take
from presolder.render.report.rigs import dirt_plain


@dataclass(frozen=True)
class After:
    """The stages chosen that are no part of a rig; which dirt it feeds, the rig says.

    Attributes
    ----------
    speaker : str or None
        ``"plain"`` or the path of an impulse response.
    hum_db : float or None
        Hum and hiss at the input the guitar feeds, relative to the loudest
        second of the take at dial 10.

    Raises
    ------
    InputError
        If the hum is out of range.
    """

    speaker: str | None = None
    hum_db: float | None = None

    def __post_init__(self) -> None:
        with place("hum"):
            require_hum(self.hum_db)

    def loaded(self, dirt: AnyDirt | None, sample_rate_hz: int) -> Stages:
        """The stages behind a dirt, or none, with the loudspeaker's response read.

        Raises
        ------
        InputError
            If the impulse response cannot be used.
        """
        speaker = None if self.speaker is None else load_speaker(self.speaker, sample_rate_hz)
        return Stages(self.hum_db, dirt, speaker)

    def plain(self, heard: Voice) -> dict[str, Any]:
        """For the manifest, with what the take made of it."""
        dirt = heard.stages.dirt
        return {
            "dirt": None if dirt is None else _dirt_plain(dirt, heard),
            "speaker": None if self.speaker is None else Path(self.speaker).name,
            "hum_db": self.hum_db,
        }


def _dirt_plain(dirt: AnyDirt, heard: Voice) -> dict[str, Any]:
    """A dirt's settings, and the volts that it was driven by."""
    if isinstance(dirt, Dirt):
        return dirt_plain(dirt) | {
            "knee_volts": knee_volts(dirt.kind),
            "loudest_second_volts": driven_volts(dirt),
            "volts_per_unit": heard.volts_per_unit,
            "input_ohms": dirt.load.resistance_ohms,
            "input_farads": dirt.load.capacitance_farads,
        }
    rig = heard.renderer.rig
    return dirt_plain(dirt) | {
        "pickup_output_volts": rig.output_volts,
        "loudest_second_emf_volts": rig.volts_into(dirt),
        "volts_per_unit": heard.volts_per_unit,
        "input_ohms_at_330_hz": abs(complex(entrance_ohms(dirt, 330.0)[0])),
    }


def join(recording: Take, rig: Rig, designs: tuple[Design, ...], after: After) -> Voice:
    """Make a rig into its dirt, its designs and what follows them ready for one take.

    Raises
    ------
    InputError
        If the loudspeaker's impulse response cannot be used.
    """
    stages = after.loaded(rig.dirt, recording.sample_rate_hz)
    renderer = Renderer(rig, designs, recording.sample_rate_hz)
    return voice(renderer, stages, recording.samples)
