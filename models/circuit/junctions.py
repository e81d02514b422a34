"""What flows through diodes and transistors at the voltages across their junctions.

All of them are exponential junctions, j = I_s (exp(v / V) - 1), and branch
currents that are sums of those: Shockley's diode, and the transport form of
Ebers and Moll's transistor (Getreu, Modeling the Bipolar Transistor, chapter
2; from memory), whose branch from base to emitter carries j_be (1 + 1/beta_F)
- j_bc, and that from base to collector j_bc (1 + 1/beta_R) - j_be. With an Early
voltage V_A (Gummel and Poon, Bell Syst. Tech. J. 49, 1970; from memory), what flows
from collector to emitter is (j_be - j_bc) (1 - v_bc / V_A): what that is more stands
behind all junctions as one current more, across whose place no voltage lies.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from presolder.models.circuit.assembly import Descriptor, ends_of
from presolder.models.circuit.branch import GROUND, Device, Diode
from presolder.models.circuit.warmth import THERMAL_VOLTS
from presolder.models.core import FOUR, groups_of
from presolder.models.typing import Array

# Junctions are held back beyond where their current is so much.
_CRITICAL_AMPERES = 1e-3
# Of a junction that is not there: nothing flows at any voltage.
_NO_AMPERES = 1e-300


@dataclass(frozen=True, eq=False)
class Junctions:
    """The p junctions of a circuit with n unknowns.

    Attributes
    ----------
    ends : ndarray, shape (n, p)
        From which node to which each lies; see `ends_of`.
    saturation : ndarray, shape (p,)
        I_s, amperes.
    slope_volts : ndarray, shape (p,)
        V, volts.
    coupling : ndarray, shape (p, p)
        Branch currents from junction currents.
    early : ndarray, shape (2, p)
        1 / V_A of each Early current, 0 of each junction; and where its transistor's
        base-emitter junction stands, before the other.
    """

    ends: Array
    saturation: Array
    slope_volts: Array
    coupling: Array
    early: Array

    def currents(self, volts: Array) -> Array:
        """Through the junctions, amperes; volts of shape (p,)."""
        currents = self.saturation * np.expm1(volts / self.slope_volts)
        for k, e, share in self._earlies:
            currents[k] = (currents[e + 1] - currents[e]) * volts[e + 1] * share
        return np.asarray(currents)

    @property
    def _earlies(self) -> list[tuple[int, int, float]]:
        """Where each Early current stands, and its transistor; and 1 / V_A."""
        share, emitter = self.early
        return [(int(k), int(emitter[k]), share[k]) for k in np.flatnonzero(share)]

    @property
    def kinds(self) -> Array:
        """As the core takes them, shape (5, p).

        Saturation, slopes a volt, critical voltage, and the rows of `early`.
        """
        critical = self.slope_volts * np.log(_CRITICAL_AMPERES / self.saturation)
        return np.array([self.saturation, 1.0 / self.slope_volts, critical, *self.early])

    def conductance(self, volts: Array) -> Array:
        """Branch currents per volt across each junction, siemens, shape (p, p)."""
        slope = self.saturation / self.slope_volts * np.exp(volts / self.slope_volts)
        slopes, currents = np.diag(slope), self.currents(volts)
        for k, e, share in self._earlies:
            carried = currents[e] - currents[e + 1]
            slopes[k, e : e + 2] = share * np.array(
                [-slope[e] * volts[e + 1], slope[e + 1] * volts[e + 1] - carried]
            )
        return np.asarray(self.coupling @ slopes)


def junctions_of(devices: tuple[Device, ...], size: int) -> Junctions:
    """The junctions of these devices, in a circuit with `size` unknowns."""
    pairs: list[tuple[int, int]] = []
    saturation, slope, blocks = [], [], []
    earlies: list[tuple[float, int]] = []
    for device in devices:
        if isinstance(device, Diode):
            pairs.append((device.plus, device.minus))
            saturation.append(device.saturation_amperes)
            slope.append(device.emission * THERMAL_VOLTS)
            blocks.append(np.ones((1, 1)))
            continue
        ends = ((device.base, device.emitter), (device.base, device.collector))
        if device.early_volts < math.inf:
            earlies.append((1.0 / device.early_volts, len(pairs)))
        pairs += ends if device.polarity > 0 else ((end, base) for base, end in ends)
        saturation += [device.saturation_amperes] * 2
        slope += [device.emission * THERMAL_VOLTS] * 2
        blocks.append(
            np.array([[1 + 1 / device.forward_gain, -1.0], [-1.0, 1 + 1 / device.reverse_gain]])
        )
    own, more = len(pairs), len(earlies)
    coupling, early = np.zeros((own + more, own + more)), np.zeros((2, own + more))
    at = 0
    for block in blocks:
        coupling[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    for k, (share, emitter) in enumerate(earlies, start=own):
        early[:, k] = share, emitter
        coupling[emitter : emitter + 2, k] = 1.0, -1.0
    return Junctions(
        ends_of((*pairs, *[(GROUND, GROUND)] * more), size),
        np.append(saturation, np.full(more, _NO_AMPERES)),
        np.append(slope, np.full(more, THERMAL_VOLTS)),
        coupling,
        early,
    )


def filled_up(junctions: Junctions) -> Junctions:
    """As many as the core takes; those added lie between no nodes and carry nothing."""
    n, p = junctions.ends.shape
    more = FOUR * groups_of(p) - p
    return Junctions(
        np.hstack([junctions.ends, np.zeros((n, more))]),
        np.append(junctions.saturation, np.full(more, _NO_AMPERES)),
        np.append(junctions.slope_volts, np.full(more, THERMAL_VOLTS)),
        np.pad(junctions.coupling, (0, more)),
        np.pad(junctions.early, ((0, 0), (0, more))),
    )


def linearised(descriptor: Descriptor, junctions: Junctions, volts: Array) -> Descriptor:
    """The equations for small signals about these junction voltages."""
    conductance = junctions.ends @ junctions.conductance(volts) @ junctions.ends.T
    return replace(descriptor, fixed=descriptor.fixed - conductance)
