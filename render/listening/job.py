"""What a listening pack is about, and what is worked out once for each of its designs."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from presolder.models.audio.knob import KnobPath
from presolder.models.errors import InputError
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Heard, Merit, heard_at, merit
from presolder.models.judging.situations import Heard as SituationHeard
from presolder.render.files.folder import file_stems
from presolder.render.files.recording import Recording
from presolder.render.listening.after import After
from presolder.render.listening.comparisons import Comparing
from presolder.render.report.sheet import Sheet

LONGEST_PHRASE_SECONDS = 30.0
MOST_DIALS = 12
NEAREST_DIALS = 0.01
CHART_DIALS = np.linspace(0.5, 10.0, 39)


@dataclass(frozen=True, eq=False)
class Setting:
    """A situation of the guitar as a pack has it.

    Attributes
    ----------
    name : str
    rig : Rig
    after : After
        With dirt, it has a clean and a dirty voice.
    ear : Ear
        The rig, with that dirt, and the conditions under which it is judged.
    weight : float
        How much it counts beside the others.
    """

    name: str
    rig: Rig
    after: After
    ear: Ear
    weight: float = 1.0

    @property
    def left_out(self) -> str:
        """What its recordings have and the page's own engine has not, in words."""
        stage = self.after.dirt
        things = [] if self.after.hum_db is None else ["hum"]
        if self.rig.take.string is not None:
            things.append("the pickups' places along the string")
        if isinstance(stage, Stage):
            millivolts = 1e3 * self.rig.volts_into(stage)
            things.append(f"the circuit {stage}, played with {millivolts:.3g} mV at the loudest")
        return " and ".join(things)


@dataclass(frozen=True, eq=False)
class PackJob:
    """Everything that one pack needs.

    Attributes
    ----------
    recording : Recording
    settings : tuple of Setting
        The situations that the listener can change between.
    designs : tuple of Design
    sweep : KnobPath
        The knob in the sweeps.
    dials : tuple of float
        Held positions, above 0.
    comparing : Comparing
        What to make beside the sweeps and held positions.
    workshop, note : str
        Who sends it, and what they say to the customer.
    recordings : bool
        Whether the page holds the held and swept recordings beside its engine.

    Raises
    ------
    InputError
        If the dials cannot be used, the take is too long, or the situations
        do not have it in common.
    """

    recording: Recording
    settings: tuple[Setting, ...]
    designs: tuple[Design, ...]
    sweep: KnobPath
    dials: tuple[float, ...]
    comparing: Comparing = field(default_factory=Comparing)
    workshop: str = ""
    note: str = ""
    recordings: bool = False

    @property
    def embeds(self) -> bool:
        """Whether its page holds recordings: as wanted, and for what is not worked out there."""
        return self.recordings or any(one.left_out for one in self.settings)

    @property
    def rig(self) -> Rig:
        """The guitar, in the first situation."""
        return self.settings[0].rig

    @property
    def rooms(self) -> tuple[str, ...]:
        """What each situation's files begin with: nothing, or a folder of its own."""
        if len(self.settings) == 1:
            return ("",)
        return tuple(f"{stem}/" for stem in file_stems([one.name for one in self.settings]))

    @property
    def heard(self) -> tuple[SituationHeard, ...]:
        """The situations for a judgement over all of them."""
        return tuple(SituationHeard(one.name, one.ear, one.weight) for one in self.settings)

    def __post_init__(self) -> None:
        if not 1 <= len(self.dials) <= MOST_DIALS:
            raise InputError(f"dials must be 1 to {MOST_DIALS} positions")
        for dial in self.dials:
            if not NEAREST_DIALS <= dial <= 10:
                raise InputError(f"dials: {dial:g} must lie between {NEAREST_DIALS:g} and 10")
        # Their files are named after them.
        for below, above in pairwise(sorted(self.dials)):
            if above - below < NEAREST_DIALS * 0.999:
                raise InputError(
                    f"dials: {below:.9g} and {above:.9g} are the same to a hand; they must be"
                    f" {NEAREST_DIALS:g} apart"
                )
        if self.recording.duration_s > LONGEST_PHRASE_SECONDS:
            raise InputError(
                f"{self.recording.name}: {self.recording.duration_s:.1f} s long; a pack repeats the"
                f" take at every position, so at most {LONGEST_PHRASE_SECONDS:g} s is accepted"
            )
        for one in self.settings:
            if one.rig.take != self.rig.take:
                raise InputError(
                    f"situation {one.name!r}: its takes are made otherwise than those of"
                    f" {self.settings[0].name!r}; a pack has one take"
                )


@dataclass(frozen=True, eq=False)
class Dossier:
    """What a pack says of one design in one situation, worked out once.

    Attributes
    ----------
    design : Design
    figures : Merit
    heard : Heard
        At `CHART_DIALS`.
    sheet : Sheet
        With its drawing.
    """

    design: Design
    figures: Merit
    heard: Heard
    sheet: Sheet


def dossiers(job: PackJob, setting: Setting) -> tuple[Dossier, ...]:
    """One a design, in the job's order."""
    ear = setting.ear
    files = []
    for design in job.designs:
        figures = merit(ear, design.network)
        heard = heard_at(ear, design.network, CHART_DIALS)
        files.append(Dossier(design, figures, heard, Sheet(ear, design, figures, job.workshop)))
    return tuple(files)
