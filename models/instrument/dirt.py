"""A clipping curve as its owner describes it, and what its input puts on the guitar."""

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, get_args

from presolder.models.errors import InputError
from presolder.models.instrument.circuits import STAGE_KINDS, StageKind
from presolder.models.instrument.controls import Load
from presolder.models.instrument.quantities import require_within
from presolder.models.instrument.stage import Stage

DirtKind = Literal["smooth", "diodes", "lopsided", "lopsided-10k"]
DIRT_KINDS: tuple[DirtKind, ...] = get_args(DirtKind)
LARGEST_DRIVE_DB = 60.0
AnyKind = DirtKind | StageKind
ANY_KINDS: tuple[AnyKind, ...] = (*DIRT_KINDS, *STAGE_KINDS)


_FEWEST_POINTS, _MOST_POINTS = 3, 10_000


@dataclass(frozen=True)
class Curve:
    """A clipping curve of one's own.

    Attributes
    ----------
    points : tuple of (float, float)
        Volts in and out, rising in both, through 0 and 0 or near; beyond them it is level.
        Its slope at 0 is made 1.
    name : str

    Raises
    ------
    InputError
        If they are no such curve.
    """

    points: tuple[tuple[float, float], ...]
    name: str = "own curve"

    def __post_init__(self) -> None:
        if not _FEWEST_POINTS <= len(self.points) <= _MOST_POINTS:
            raise InputError(
                f"{self.name}: {len(self.points)} points; {_FEWEST_POINTS} to {_MOST_POINTS}"
                " of volts_in,volts_out are accepted"
            )
        if not all(math.isfinite(volts) for point in self.points for volts in point):
            raise InputError(f"{self.name}: all volts must be finite numbers")
        for (before, low), (after, high) in pairwise(self.points):
            if after <= before or high < low:
                raise InputError(
                    f"{self.name}: volts_in must rise and volts_out not fall, got"
                    f" {after:g},{high:g} after {before:g},{low:g}"
                )
        if not self.points[0][0] < 0 < self.points[-1][0]:
            raise InputError(f"{self.name}: volts_in must reach from below 0 to above 0")

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True)
class Dirt:
    """A clipping stage and how hard it is driven.

    Attributes
    ----------
    kind : {"smooth", "diodes", "lopsided", "lopsided-10k"} or Curve
        ``smooth``: a symmetric saturator, tanh. ``diodes``: an antiparallel
        diode pair behind a resistor. ``lopsided``: a biased tanh, with even
        harmonics. ``lopsided-10k``: the same curve behind an input of 10 kΩ,
        whatever is played; a fuzz's own input is in `Stage`.
    drive_db : float
        By how much the loudest second of the take, at dial 10, goes past the
        knee; 0 to 60.
    pre_hz, post_hz : float
        Corners of the high-pass before and the low-pass after the curve.
    level_db : float
        Output level.
    input : Load or None
        What its input puts on the guitar; None for what is usual.
    """

    kind: DirtKind | Curve = "smooth"
    drive_db: float = 20.0
    pre_hz: float = 120.0
    post_hz: float = 5500.0
    level_db: float = 0.0
    input: Load | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.kind, Curve) and self.kind not in DIRT_KINDS:
            raise InputError(f"dirt kind {self.kind!r} is unknown; one of {', '.join(DIRT_KINDS)}")
        require_within(
            (
                ("drive", self.drive_db, 0.0, LARGEST_DRIVE_DB),
                ("pre_hz", self.pre_hz, 1.0, 2000.0),
                ("post_hz", self.post_hz, 1000.0, 20_000.0),
                ("level_db", self.level_db, -60.0, 60.0),
            )
        )

    @property
    def words(self) -> str:
        """What it is, for people."""
        match self.kind:
            case Curve(name=name):
                return name
            case "smooth":
                return "soft clipping"
            case "diodes":
                return "clipping by diodes"
            case "lopsided":
                return "lopsided clipping"
            case "lopsided-10k":
                return "lopsided clipping, input of 10 kΩ"

    @property
    def load(self) -> Load:
        """What the stage's input puts on the guitar; the usual is common practice, no source."""
        if self.input is not None:
            return self.input
        match self.kind:
            case "smooth" | Curve():
                return Load(1e6, 30e-12)
            case "diodes":
                return Load(500e3, 50e-12)
            case "lopsided":
                return Load(220e3, 100e-12)
            case "lopsided-10k":
                return Load(10e3, 100e-12)


AnyDirt = Dirt | Stage


def load_of(dirt: AnyDirt) -> Load:
    """What a dirt's input puts on the guitar."""
    return Load(stage=dirt) if isinstance(dirt, Stage) else dirt.load


def picked(dirt: AnyDirt, harder_db: float) -> AnyDirt:
    """A dirt whose player picks so much harder, as far as a curve's drive goes."""
    if isinstance(dirt, Stage):
        return replace(dirt, touch_db=dirt.touch_db + harder_db)
    drive_db = min(max(dirt.drive_db + harder_db, 0.0), LARGEST_DRIVE_DB)
    return replace(dirt, drive_db=drive_db)


def dirt_of(kind: AnyKind) -> AnyDirt:
    """A dirt of this kind, set as usual."""
    if kind in STAGE_KINDS:
        return Stage.as_drawn(kind)
    return Dirt(kind)  # type: ignore[arg-type]
