"""What a design does over the dial, in two curves: level and treble."""

from dataclasses import dataclass

import numpy as np

from presolder.models.circuit.assembly import Descriptor
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array

BODY_HZ = 500.0
TREBLE_HZ = (2000.0, 4000.0)


@dataclass(frozen=True, eq=False)
class Character:
    """Two curves over the dial, each of shape (dials,), zero at dial 10.

    Attributes
    ----------
    dial : ndarray
        Positions.
    level_db : ndarray
        Level at 500 Hz against dial 10.
    treble_db : ndarray
        Mean level over 2-4 kHz against the level at 500 Hz, against dial 10:
        below zero is duller than at 10, above it brighter.
    """

    dial: Array
    level_db: Array
    treble_db: Array


def character(rig: Rig, network: Network | None, dial: Array) -> Character:
    """Level and treble of the chain over the dial.

    Parameters
    ----------
    rig : Rig
        The instrument and what it feeds.
    network : Network or None
        The bypass.
    dial : ndarray, shape (d,)
        Positions above 0.

    Returns
    -------
    Character
    """
    body_db, treble_db = balance(chain_equations(rig, network), np.concatenate([[10.0], dial]))
    return Character(dial, body_db[1:] - body_db[0], treble_db[1:] - treble_db[0])


def balance(descriptor: Descriptor, dial: Array) -> tuple[Array, Array]:
    """Gain at 500 Hz, and mean gain over 2-4 kHz less that, in dB.

    Parameters
    ----------
    descriptor : Descriptor
        The chain.
    dial : ndarray, shape (d,)
        Positions above 0.

    Returns
    -------
    body_db, treble_db : ndarray, shape (d,)
    """
    asked = np.concatenate([[BODY_HZ], np.geomspace(*TREBLE_HZ, 16)])
    gain_db = decibels(transfer(descriptor, asked, dial))
    return gain_db[:, 0], gain_db[:, 1:].mean(axis=1) - gain_db[:, 0]


# Close enough for a thousandth of a decibel between them.
_TABLE_DIALS = np.linspace(0.0, 10.0, 2001)


def level_over_dial(rig: Rig, network: Network | None, dial: Array) -> Array:
    """Level at 500 Hz against dial 10, for very many dials, shape (n,); of silence minus infinity.

    Parameters
    ----------
    rig : Rig
        The instrument and what it feeds.
    network : Network or None
        The bypass.
    dial : ndarray, shape (n,)
    """
    gains = np.abs(transfer(chain_equations(rig, network), BODY_HZ, _TABLE_DIALS)[:, 0])
    if gains[-1] == 0.0:
        # Coils whose EMFs cancel.
        return np.full(dial.shape, -np.inf)
    return decibels(np.interp(dial, _TABLE_DIALS, gains) / gains[-1])
