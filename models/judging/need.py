"""Does this player need a bypass? What the bare pot takes away, dial by dial."""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import BODY_HZ
from presolder.models.typing import Array

Playing = Literal["full", "rolls-back", "swells", "cleans-up-dirt"]
PLAYING: tuple[Playing, ...] = get_args(Playing)
Needed = Literal["no", "hardly", "probably", "yes"]
TREBLE_HZ = (2000.0, 3500.0, 5000.0)
# Where each way of playing leaves the knob; common practice, no source.
_DIALS_OF: dict[Playing, tuple[float, ...]] = {
    "full": (10.0,),
    "rolls-back": (8.0, 7.0, 6.0),
    "swells": (2.0, 4.0, 6.0, 8.0),
    "cleans-up-dirt": (7.0, 5.0, 3.0),
}
# Treble lost, in dB, from which ears in a room notice; common practice, no source.
_VERDICTS: tuple[tuple[float, Needed], ...] = ((1.0, "hardly"), (2.5, "probably"), (4.0, "yes"))
_RESONANCE_HZ = np.geomspace(800.0, 20_000.0, 1200)


@dataclass(frozen=True, eq=False)
class Need:
    """What the bare pot does, and whether it matters.

    Attributes
    ----------
    dial : ndarray, shape (d,)
        Positions.
    lost_db : ndarray, shape (d, 3)
        Treble lost at 2, 3.5 and 5 kHz against dial 10, after taking away the
        loss of level at 500 Hz; below zero is treble gained.
    resonance_hz, resonance_db : ndarray, shape (d,)
        Frequency of the response's highest point above 800 Hz, and its height
        over 500 Hz; NaN where the response only falls.
    worst_db : float
        Mean loss over the three frequencies where this way of playing leaves
        the knob, at the worst of its dials.
    verdict : {"no", "hardly", "probably", "yes"}
    """

    dial: Array
    lost_db: Array
    resonance_hz: Array
    resonance_db: Array
    worst_db: float
    verdict: Needed


def treble_lost(rig: Rig, dial: Array) -> Array:
    """Treble that the bare pot loses at each dial; see `Need.lost_db`.

    Parameters
    ----------
    rig : Rig
        The instrument.
    dial : ndarray, shape (d,)
        Positions above 0.

    Returns
    -------
    ndarray, shape (d, 3)
    """
    asked = np.array([BODY_HZ, *TREBLE_HZ])
    gain_db = decibels(transfer(chain_equations(rig, None), asked, np.concatenate([[10.0], dial])))
    shape_db = gain_db[:, 1:] - gain_db[:, :1]
    return np.asarray(shape_db[0] - shape_db[1:], dtype=np.float64)


def need(rig: Rig, playing: Playing, dial: Array) -> Need:
    """Judge whether a bypass is needed.

    Parameters
    ----------
    rig : Rig
        The instrument, judged without a bypass.
    playing : {"full", "rolls-back", "swells", "cleans-up-dirt"}
        What the player does with the knob.
    dial : ndarray, shape (d,)
        Positions above 0 to report.

    Returns
    -------
    Need
    """
    bare = chain_equations(rig, None)
    response_db = decibels(transfer(bare, _RESONANCE_HZ, dial))
    body_db = decibels(transfer(bare, BODY_HZ, dial))
    highest = np.argmax(response_db, axis=1)
    resonant = (highest > 0) & (highest < _RESONANCE_HZ.size - 1)
    resonance_hz = np.where(resonant, _RESONANCE_HZ[highest], np.nan)
    height_db = response_db[np.arange(dial.size), highest] - body_db[:, 0]
    used = np.array(_DIALS_OF[playing])
    worst_db = float(treble_lost(rig, used).mean(axis=1).max())
    verdict: Needed = "no"
    for limit_db, word in _VERDICTS:
        if playing != "full" and worst_db >= limit_db:
            verdict = word
    lost_db = treble_lost(rig, dial)
    return Need(
        dial, lost_db, resonance_hz, np.where(resonant, height_db, np.nan), worst_db, verdict
    )
