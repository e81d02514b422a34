"""What a preference makes of designs: scores, ranks and which one comes first."""

from dataclasses import dataclass

import numpy as np

from presolder.models.instrument.designs import BUILT_IN
from presolder.models.instrument.network import Design, Network
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.topologies import built_in_of
from presolder.models.judging.merit import DIALS, Merit, merit
from presolder.models.typing import Array

# At the lowest dials all is nearly silent; common practice, no source.
TONE_WEIGHT = 0.7


def score(taper_rms_db: Array | float, tone_rms_db: Array | float, tone_weight: float) -> Array:
    """What a preference makes of designs, in dB; smaller is better.

    Parameters
    ----------
    taper_rms_db, tone_rms_db : ndarray or float
        Figures of the designs.
    tone_weight : float
        0 to keep the taper only, 1 to keep the tone only.
    """
    return np.asarray(tone_weight * tone_rms_db + (1.0 - tone_weight) * taper_rms_db)


@dataclass(frozen=True)
class Scored:
    """A design with its figures and what a preference makes of them.

    Attributes
    ----------
    design : Design
    figures : Merit
    score_db : float
        Smaller is better.
    """

    design: Design
    figures: Merit
    score_db: float


def scored(rig: Rig, design: Design, tone_weight: float, dials: Array = DIALS) -> Scored:
    """Judge one design.

    Parameters
    ----------
    rig : Rig
    design : Design
    tone_weight : float
        As in `score`.
    dials : ndarray, shape (d,)
        Positions that count, above 0.
    """
    figures = merit(rig, design.network, dials)
    return Scored(
        design, figures, float(score(figures.taper_rms_db, figures.tone_rms_db, tone_weight))
    )


def ranked(
    rig: Rig, designs: tuple[Design, ...], tone_weight: float, dials: Array = DIALS
) -> tuple[Scored, ...]:
    """Judge designs, best first; parameters as in `scored`."""
    judged = (scored(rig, design, tone_weight, dials) for design in designs)
    return tuple(sorted(judged, key=lambda one: one.score_db))


def best_built_in(rig: Rig, tone_weight: float, dials: Array = DIALS) -> Scored:
    """The built-in design, other than bare, that the preference puts first."""
    fitted = tuple(design for design in BUILT_IN if design.network is not None)
    return ranked(rig, fitted, tone_weight, dials)[0]


def ahead_of_its_kind_db(
    rig: Rig, one: Scored, shape: Network, tone_weight: float, dials: Array
) -> float | None:
    """By how much a score is below that of the built-in design of its topology, if any."""
    alike = [
        scored(rig, Design("", network), tone_weight, dials).score_db
        for network in built_in_of(shape)
    ]
    return min(alike) - one.score_db if alike else None
