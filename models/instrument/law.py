"""Potentiometer tapers: the fraction of the track below the wiper at a dial position."""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.cubic import monotone_cubic
from presolder.models.errors import InputError
from presolder.models.typing import Array

TaperKind = Literal["linear", "audio", "reverse-audio", "two-slope", "blend", "measured"]
# Kinds whose midpoint bends them.
BENT_TAPERS: tuple[TaperKind, ...] = ("audio", "reverse-audio", "two-slope")
NAMED_TAPERS: tuple[TaperKind, ...] = tuple(
    kind for kind in get_args(TaperKind) if kind != "measured"
)
DIAL_MAX = 10.0


@dataclass(frozen=True)
class Taper:
    """How a pot divides its track as the knob turns.

    Attributes
    ----------
    kind : str
        ``linear``, ``audio``, ``reverse-audio``, ``two-slope``, ``blend`` or ``measured``.
    midpoint : float
        Fraction of the resistance below the wiper at half rotation, for
        ``audio``, ``reverse-audio`` (of its mirror) and ``two-slope``. The
        default of 0.15 is common practice, no source.
    points : tuple of (dial, fraction)
        For ``measured`` only; dial strictly rising, fraction never falling.

    Raises
    ------
    InputError
        If the midpoint is outside 0-1 or the points are not a usable taper.
    """

    kind: TaperKind = "audio"
    midpoint: float = 0.15
    points: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in get_args(TaperKind):
            raise InputError(f"taper {self.kind!r} is unknown; one of {', '.join(NAMED_TAPERS)}")
        # The open interval, less a sliver in which the exponential law overflows.
        if not 0.001 <= self.midpoint <= 0.999:
            raise InputError(f"midpoint = {self.midpoint:g} must lie between 0.001 and 0.999")
        if self.kind == "measured":
            object.__setattr__(self, "points", _complete(self.points))
        elif self.points:
            raise InputError(f"taper {self.kind!r} takes no measured points")


def _complete(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """Add the exact end stops where they were not measured, and check the rest."""
    if len(points) < 2:
        raise InputError("a measured taper needs at least two points of dial,fraction")
    dials = np.array([point[0] for point in points])
    fractions = np.array([point[1] for point in points])
    if not (np.all(np.isfinite(dials)) and np.all(np.isfinite(fractions))):
        raise InputError("a measured taper must hold finite numbers only")
    if np.any(dials < 0) or np.any(dials > DIAL_MAX):
        raise InputError("a measured taper's dial values must lie between 0 and 10")
    if np.any(np.diff(dials) <= 0):
        raise InputError("a measured taper's dial values must rise from row to row")
    if np.any(fractions < 0) or np.any(fractions > 1):
        raise InputError("a measured taper's fractions must lie between 0 and 1")
    if np.any(np.diff(fractions) < 0):
        raise InputError("a measured taper's fractions must not fall as the dial rises")
    for end, stop in ((0.0, 0.0), (DIAL_MAX, 1.0)):
        measured = fractions[dials == end]
        if measured.size and measured[0] != stop:
            raise InputError(
                f"a measured taper must have fraction {stop:g} at dial {end:g} (or leave that"
                f" point out), got {measured[0]:g}"
            )
    head = () if dials[0] == 0 else ((0.0, 0.0),)
    tail = () if dials[-1] == DIAL_MAX else ((DIAL_MAX, 1.0),)
    return head + points + tail


def fraction_below_wiper(taper: Taper, dial: ArrayLike) -> Array:
    """Fraction of the total resistance between ground lug and wiper.

    Parameters
    ----------
    taper : Taper
        The pot's law.
    dial : array_like
        Dial positions 0-10, any shape; dial maps linearly to rotation.

    Returns
    -------
    ndarray of float
        Same shape as `dial`; exactly 0 at dial 0 and 1 at dial 10.

    Notes
    -----
    ``audio`` is the exponential law (b^x - 1)/(b - 1) with b = (1/m - 1)^2,
    which passes through (0, 0), (1/2, m) and (1, 1). ``two-slope`` joins the
    same three points by straight lines, as carbon tracks are really made.
    ``blend`` rises straight to 1 at half, and stays there.
    Measured points are joined by a monotone cubic (Fritsch and Carlson, SIAM
    J. Numer. Anal. 17, 1980).
    """
    rotation = np.clip(np.asarray(dial, dtype=np.float64) / DIAL_MAX, 0.0, 1.0)
    match taper.kind:
        case "linear":
            return rotation
        case "audio":
            return _exponential(rotation, taper.midpoint)
        case "reverse-audio":
            return 1.0 - _exponential(1.0 - rotation, taper.midpoint)
        case "two-slope":
            return np.interp(rotation, [0.0, 0.5, 1.0], [0.0, taper.midpoint, 1.0])
        case "blend":
            return np.minimum(2.0 * rotation, 1.0)
        case "measured":
            dials, fractions = np.array(taper.points).T
            curve = monotone_cubic(dials, fractions, rotation * DIAL_MAX)
            # The end stops are exact whatever the cubic rounds to.
            law = np.where(rotation < 1.0, np.clip(curve, 0.0, 1.0), 1.0)
            return np.asarray(np.where(rotation > 0.0, law, 0.0), dtype=np.float64)


def _exponential(rotation: Array, midpoint: float) -> Array:
    log_base = 2.0 * np.log(1.0 / midpoint - 1.0)
    if abs(log_base) < 1e-9:  # m = 1/2: the law's limit is a straight line
        return rotation
    return np.asarray(np.expm1(log_base * rotation) / np.expm1(log_base), dtype=np.float64)
