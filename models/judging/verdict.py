"""Does this player need a bypass? What the bare pot takes away, dial by dial, as heard."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Merit, merit
from presolder.models.judging.ranking import Scored, in_order
from presolder.models.typing import Array

Needed = Literal["no", "hardly", "probably", "yes"]
# Mean treble lost, in dB, from which a loss weighs; common practice, no source.
PROBABLY_DB, YES_DB = 1.0, 2.5
_BODY_HZ = 500.0
_RESONANCE_HZ = np.geomspace(800.0, 20_000.0, 1200)


@dataclass(frozen=True, eq=False)
class Need:
    """What the bare pot does, and whether it matters.

    Attributes
    ----------
    verdict : {"no", "hardly", "probably", "yes"}
        From the loss alone, and whether it is heard at all; hardly, where more
        treble is gained than lost.
    loss_db : float
        Treble lost at the worst of the player's dials.
    shown : Merit
        Figures of the bare pot at the dials to report.
    resonance_hz, resonance_db : ndarray, shape (d,)
        Frequency of the response's highest point above 800 Hz at those dials,
        and its height over 500 Hz; NaN where the response only falls.
    ranked : tuple of Scored
        The bare pot and the built-in designs, best first, in this situation alone.
    """

    verdict: Needed
    loss_db: float
    shown: Merit
    resonance_hz: Array
    resonance_db: Array
    ranked: tuple[Scored, ...]

    @property
    def first(self) -> Scored:
        """What comes first: the bare pot, or a built-in design that is audibly nearer."""
        return self.ranked[0]


def need(ear: Ear, dial: Array, judged: Iterable[Scored]) -> Need:
    """Judge whether a bypass is needed in one situation.

    Parameters
    ----------
    ear : Ear
        The rig, judged without a bypass, and the conditions.
    dial : ndarray, shape (d,)
        Positions above 0 to report.
    judged : iterable of Scored
        The bare pot and the designs that might help, in this situation.

    Returns
    -------
    Need
    """
    order = in_order(judged)
    bare = next(one.figures[0] for one in order if one.design.network is None)
    loss_db = float(bare.change.duller_db.max())
    verdict: Needed = "hardly"
    if not bare.change.noticed.any():
        verdict = "no"
    elif bare.change.brighter_db.mean() < bare.change.duller_db.mean():
        if loss_db >= YES_DB:
            verdict = "yes"
        elif loss_db >= PROBABLY_DB:
            verdict = "probably"
    return Need(
        verdict,
        loss_db,
        bare if np.array_equal(dial, bare.dial) else merit(ear, None, dial),
        *resonance(ear.rig.as_heard, dial),
        order,
    )


def resonance(rig: Rig, dial: Array) -> tuple[Array, Array]:
    """Where the bare pot's response is highest above 800 Hz, and by how much over 500 Hz.

    Parameters
    ----------
    rig : Rig
    dial : ndarray, shape (d,)
        Positions above 0.

    Returns
    -------
    resonance_hz, resonance_db : ndarray, shape (d,)
        NaN where the response only falls.
    """
    bare = chain_equations(rig, None)
    response_db = decibels(transfer(bare, _RESONANCE_HZ, dial))
    body_db = decibels(transfer(bare, _BODY_HZ, dial))
    highest = np.argmax(response_db, axis=1)
    resonant = (highest > 0) & (highest < _RESONANCE_HZ.size - 1)
    resonance_hz = np.where(resonant, _RESONANCE_HZ[highest], np.nan)
    height_db = response_db[np.arange(dial.size), highest] - body_db[:, 0]
    return resonance_hz, np.where(resonant, height_db, np.nan)
