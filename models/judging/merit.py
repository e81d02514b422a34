"""Figures of merit: what a bypass does to tone and taper, as heard."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from presolder.models.circuit.assembly import Descriptor
from presolder.models.circuit.chain import PICKUP_SIDE
from presolder.models.circuit.coil import coil_impedance
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.hearing.change import Change, change
from presolder.models.instrument.controls import Pickup
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.typing import Array, ComplexArray

LOAD_HZ = 1000.0
_UNLIKE_DIALS = np.arange(3.0, 10.0)

# Stands in for what is no single coil; its own values drop out.
_PROBE = Pickup(1e5, 1e-3)


@dataclass(frozen=True, eq=False)
class Merit:
    """Figures of one design on one rig; formulas in ``docs/figures.md``.

    Attributes
    ----------
    dial : ndarray, shape (d,)
        Positions that count.
    change : Change
        Against the same guitar at 10, equally loud, at each of them.
    level_phon : ndarray, shape (d,)
        Loudness level against dial 10.
    taper_shift_phon : ndarray, shape (d,)
        Loudness level against the bare pot at the same dial.
    acum : ndarray, shape (d,)
        Sharpness against dial 10.
    tone_db : float
        Treble lost and gained, root mean square over the dials.
    taper_phon : float
        Taper shift, root mean square over the dials.
    leftover_phon : float
        Loudness level at dial 1 against dial 10.
    load_ohms : float
        Smallest impedance that the coil feeds at 1 kHz, over those dials and 10.
    """

    dial: Array
    change: Change
    level_phon: Array
    taper_shift_phon: Array
    acum: Array
    tone_db: float
    taper_phon: float
    leftover_phon: float
    load_ohms: float


@dataclass(frozen=True, eq=False)
class OverDial:
    """What is heard of a design, dial by dial.

    Attributes
    ----------
    dial : ndarray, shape (d,)
    change : Change
        Against the same guitar at 10, equally loud.
    phon : ndarray, shape (d,)
        Loudness level.
    """

    dial: Array
    change: Change
    phon: Array


def over_the_dial(ear: Ear, network: Network | None, dial: Array) -> OverDial:
    """Listen to a design at some dials above 0.

    Parameters
    ----------
    ear : Ear
    network : Network or None
    dial : ndarray, shape (d,)
    """
    responses = ear.response(network, dial)
    return OverDial(dial, ear.against_ten(responses), ear.listen(responses).phon)


def unlike_bare(ear: Ear, network: Network | None, dial: Array) -> Change:
    """How a design differs from the bare pot at the same dials, equally loud.

    Parameters
    ----------
    ear : Ear
    network : Network or None
    dial : ndarray, shape (d,)
        Positions above 0.

    """
    bare = ear.listen(ear.response(None, dial))
    return change(ear.levels_db(ear.response(network, dial)), bare)


def most_unlike_bare_at(ear: Ear, network: Network | None) -> float | None:
    """The whole dial from 9 to 3 at which ears notice a design most beside the bare pot.

    Below these all is nearly silent. None where it is noticed nowhere.
    """
    if network is None:
        return None
    moved = unlike_bare(ear, network, _UNLIKE_DIALS)
    most = int(np.argmax(moved.tone_db))
    return float(_UNLIKE_DIALS[most]) if moved.noticed[most] else None


def merit(ear: Ear, network: Network | None, dial: Array | None = None) -> Merit:
    """Compute every figure of a design.

    Parameters
    ----------
    ear : Ear
        The rig and the conditions.
    network : Network or None
        The bypass; None is the bare pot, whose taper shift is zero.
    dial : ndarray, shape (d,), optional
        Positions above 0; by default those where the player leaves the knob.

    Returns
    -------
    Merit
    """
    return merits(ear, (network,), dial)[0]


def merits(
    ear: Ear, networks: Sequence[Network | None], dial: Array | None = None
) -> tuple[Merit, ...]:
    """Compute the figures of several designs at once; parameters as for `merit`."""
    dials = ear.conditions.dials if dial is None else dial
    asked, ten = np.concatenate([dials, [1.0]]), ear.at_ten
    rig = ear.rig.as_heard
    equations = [chain_equations(rig, network) for network in networks]
    bare = ear.response(None, asked)
    others = [
        bare if network is None else transfer(own, LINES_HZ, asked)
        for network, own in zip(networks, equations, strict=True)
    ]
    responses = np.stack([bare, *others])
    heard = ear.listen(responses)
    changes = ear.against_ten(responses[:, :-1])
    stand = np.concatenate([[DIAL_MAX], dials])
    found = []
    for i, (network, own) in enumerate(zip(networks, equations, strict=True), start=1):
        moved, phon = changes.of(i), heard.phon[i]
        shift_phon = (phon - heard.phon[0])[:-1]
        alone = rig.first.pickup
        if len(rig.channels) == 1 and isinstance(alone, Pickup):
            fed = _fed(own, alone, LOAD_HZ, stand)
        else:
            fed = pickup_load(rig, network, LOAD_HZ, stand)
        found.append(
            Merit(
                dials,
                moved,
                phon[:-1] - ten.phon,
                shift_phon,
                heard.acum[i, :-1] - ten.acum,
                float(root_mean_square(moved.tone_db)),
                float(root_mean_square(shift_phon)),
                float(phon[-1] - ten.phon),
                float(np.abs(fed).min()),
            )
        )
    return tuple(found)


def root_mean_square(values: Array) -> Array:
    """Over the last axis."""
    return np.asarray(np.sqrt(np.square(values).mean(axis=-1)), dtype=np.float64)


def pickup_load(
    rig: Rig, network: Network | None, frequency_hz: float, dial: Array
) -> ComplexArray:
    """Impedance that the first channel's coil feeds, its own capacitance included.

    Of several coils, or a piezo: what they feed together, without their own.

    Parameters
    ----------
    rig : Rig
        The instrument and what it feeds.
    network : Network or None
        The bypass.
    frequency_hz : float
        Frequency.
    dial : ndarray, shape (d,)
        Positions.

    Returns
    -------
    ndarray of complex, shape (d,)
        Ohms.

    Notes
    -----
    From the divider V / EMF = Z / (Z + Z_coil), V at the pickup's side of the
    volume pot, other pickups being there but silent.
    """
    silent = (replace(channel, strength=0.0) for channel in rig.channels[1:])
    coil = rig.first.pickup if isinstance(rig.first.pickup, Pickup) else _PROBE
    rig = replace(rig, channels=(replace(rig.first, pickup=coil), *silent))
    return _fed(chain_equations(rig, network), coil, frequency_hz, dial)


def _fed(equations: Descriptor, pickup: Pickup, frequency_hz: float, dial: Array) -> ComplexArray:
    ratio = transfer(equations.at(PICKUP_SIDE), frequency_hz, dial)[:, 0]
    impedance = coil_impedance(pickup, frequency_hz) * ratio / (1.0 - ratio)
    return np.asarray(impedance, dtype=np.complex128)
