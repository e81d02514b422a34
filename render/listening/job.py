"""What a listening pack is about, and what is worked out once for each of its designs."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from presolder.models.audio.knob import SWEEP, KnobPath
from presolder.models.errors import InputError
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.judged import judged, ranked
from presolder.models.judging.merit import Merit, OverDial, over_the_dial
from presolder.models.judging.recommendation import usual_ones
from presolder.models.judging.verdict import Need, needs
from presolder.render.files.ffmpeg import Format
from presolder.render.files.folder import file_stems
from presolder.render.files.take import Take
from presolder.render.listening.after import After
from presolder.render.listening.comparisons import Comparing, as_dials
from presolder.render.report.figures import Comparison
from presolder.render.report.sheet import Sheet

LONGEST_PHRASE_SECONDS = 30.0
MOST_DIALS = 12
NEAREST_DIALS = 0.01
CHART_DIALS = np.linspace(0.5, 10.0, 39)


@dataclass(frozen=True, eq=False)
class Contents:
    """What a pack holds.

    Attributes
    ----------
    held_at : tuple of float
        1 to 12 dials above 0 at which the knob is held.
    sweep : KnobPath
        The knob in the sweeps.
    comparing : Comparing
        What to make beside the sweeps and held positions; with stairs there is a reel of them.
    recordings : bool
        Whether the page holds the held and swept recordings beside its own engine; it
        always does where that leaves something out.
    listening : {"mp3", "m4a"}
        Format of the light copies, where ffmpeg is installed.
    light : bool
        Leave the lossless copies out.
    single_file, allow_large : bool
        The page alone, and whether it may be too large to mail.
    beeps : bool
        Whether beeps in the reels say which design comes, and in that of the stairs at which
        dial.
    workshop, note : str
        Who sends it, and what they say to the customer.

    Raises
    ------
    InputError
        If the dials cannot be used.
    """

    held_at: tuple[float, ...] = (10.0, 8.0, 6.0, 4.0, 2.0)
    sweep: KnobPath = SWEEP
    comparing: Comparing = field(default_factory=Comparing)
    recordings: bool = False
    listening: Format = "mp3"
    light: bool = False
    single_file: bool = False
    allow_large: bool = False
    workshop: str = ""
    note: str = ""
    beeps: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "held_at", as_dials(self.held_at))
        if not 1 <= len(self.held_at) <= MOST_DIALS:
            raise InputError(f"dials must be 1 to {MOST_DIALS} positions")
        for dial in self.held_at:
            if not NEAREST_DIALS <= dial <= 10:
                raise InputError(f"dials: {dial:g} must lie between {NEAREST_DIALS:g} and 10")
        # Their files are named after them.
        for below, above in pairwise(sorted(self.held_at)):
            if above - below < NEAREST_DIALS * 0.999:
                raise InputError(
                    f"dials: {below:.9g} and {above:.9g} are the same to a hand; they must be"
                    f" {NEAREST_DIALS:g} apart"
                )


@dataclass(frozen=True, eq=False)
class PackJob:
    """Everything that one pack needs.

    Attributes
    ----------
    recording : Take
    ears : tuple of Ear
        The guitar in the situations that the listener can change between, and the
        conditions under which it is judged there. With dirt, a situation has a clean and
        a dirty voice.
    designs : tuple of Design
    after : After
        What follows.
    contents : Contents

    Raises
    ------
    InputError
        If the take is too long, or the situations do not have it in common.
    """

    recording: Take
    ears: tuple[Ear, ...]
    designs: tuple[Design, ...]
    after: After
    contents: Contents

    @property
    def embeds(self) -> bool:
        """Whether its page holds recordings: as wanted, and for what is not worked out there."""
        return self.contents.recordings or any(map(self.left_out, self.ears))

    @property
    def rig(self) -> Rig:
        """The guitar, in the first situation."""
        return self.ears[0].rig

    @property
    def rooms(self) -> tuple[str, ...]:
        """What each situation's files begin with: nothing, or a folder of its own."""
        if len(self.ears) == 1:
            return ("",)
        return tuple(f"{stem}/" for stem in file_stems([ear.name for ear in self.ears]))

    def left_out(self, ear: Ear) -> str:
        """What its recordings have and the page's own engine has not, in words."""
        things = [] if self.after.hum_db is None else ["hum"]
        if ear.rig.take.string is not None:
            things.append("the pickups' places along the string")
        return " and ".join(things)

    def __post_init__(self) -> None:
        if self.recording.duration_s > LONGEST_PHRASE_SECONDS:
            raise InputError(
                f"{self.recording.name}: {self.recording.duration_s:.1f} s long; a pack repeats the"
                f" take at every position, so at most {LONGEST_PHRASE_SECONDS:g} s is accepted"
            )
        for ear in self.ears:
            if ear.rig.take != self.rig.take:
                raise InputError(
                    f"situation {ear.name!r}: its takes are made otherwise than those of"
                    f" {self.ears[0].name!r}; a pack has one take"
                )


@dataclass(frozen=True, eq=False)
class Dossier:
    """What a pack says of one design in one situation, worked out once.

    Attributes
    ----------
    design : Design
    figures : Merit
    over_dial : OverDial
        At `CHART_DIALS`.
    sheet : Sheet
        With its drawing.
    """

    design: Design
    figures: Merit
    over_dial: OverDial
    sheet: Sheet


@dataclass(frozen=True, eq=False)
class Judged:
    """What a pack says of one situation, worked out once.

    Attributes
    ----------
    ear : Ear
    need : Need
        Of the player's dials.
    dossiers : tuple of Dossier
        One a design.
    left_out : str
        What its recordings have and the page's own engine has not, in words.
    """

    ear: Ear
    need: Need
    dossiers: tuple[Dossier, ...]
    left_out: str


@dataclass(frozen=True, eq=False)
class About:
    """What a pack says of its designs.

    Attributes
    ----------
    judged : tuple of Judged
        One a situation.
    overall : Comparison or None
        Over all situations; None where there is one.
    """

    judged: tuple[Judged, ...]
    overall: Comparison | None

    @property
    def first(self) -> Design | None:
        """Of the pack's designs what to hear first beside the bare pot; None if none is nearer."""
        need, there = self.judged[0].need, [its.design for its in self.judged[0].dossiers]
        if need.first is need.bare:
            return None
        ahead = (one.design for one in (need.first, *need.as_good))
        return next((design for design in ahead if design in there), None)


def about_of(job: PackJob) -> About:
    """Judge a pack's designs in each of its situations, and over all."""
    several = len(job.ears) > 1
    return About(
        tuple(_judged(job, ear) for ear in job.ears),
        Comparison(job.ears, ranked(job.ears, job.designs)) if several else None,
    )


def _judged(job: PackJob, ear: Ear) -> Judged:
    found = needs((ear,), usual_ones((ear,)))
    files = []
    for one in judged((ear,), job.designs):
        over_dial = over_the_dial(ear, one.design.network, CHART_DIALS)
        sheet = Sheet((ear,), one.design, one.figures, found, job.contents.workshop)
        files.append(Dossier(one.design, one.figures[0], over_dial, sheet))
    return Judged(ear, found[0], tuple(files), job.left_out(ear))
