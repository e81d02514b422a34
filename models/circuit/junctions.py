"""What flows through diodes and transistors at the voltages across their junctions.

All of them are exponential junctions, j = I_s (exp(v / V) - 1), and branch
currents that are sums of those: Shockley's diode, and the transport form of
Ebers and Moll's transistor (Getreu, Modeling the Bipolar Transistor, chapter
2; from memory), whose branch from base to emitter carries j_be (1 + 1/beta_F)
- j_bc, and that from base to collector j_bc (1 + 1/beta_R) - j_be.
"""

from dataclasses import dataclass, replace

import numpy as np

from presolder.models.circuit.assembly import Descriptor, ends_of
from presolder.models.circuit.branch import Device, Diode
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
    """

    ends: Array
    saturation: Array
    slope_volts: Array
    coupling: Array

    def currents(self, volts: Array) -> Array:
        """Through the junctions, amperes; volts of shape (..., p)."""
        return np.asarray(self.saturation * np.expm1(volts / self.slope_volts))

    @property
    def kinds(self) -> Array:
        """As the core takes them, shape (3, p): saturation, slopes a volt, critical voltage."""
        critical = self.slope_volts * np.log(_CRITICAL_AMPERES / self.saturation)
        return np.array([self.saturation, 1.0 / self.slope_volts, critical])

    def conductance(self, volts: Array) -> Array:
        """Branch currents per volt across each junction, siemens, shape (p, p)."""
        slope = self.saturation / self.slope_volts * np.exp(volts / self.slope_volts)
        return np.asarray(self.coupling * slope)


def junctions_of(devices: tuple[Device, ...], size: int) -> Junctions:
    """The junctions of these devices, in a circuit with `size` unknowns."""
    pairs: list[tuple[int, int]] = []
    saturation, slope, blocks = [], [], []
    for device in devices:
        if isinstance(device, Diode):
            pairs.append((device.plus, device.minus))
            saturation.append(device.saturation_amperes)
            slope.append(device.emission * THERMAL_VOLTS)
            blocks.append(np.ones((1, 1)))
            continue
        ends = ((device.base, device.emitter), (device.base, device.collector))
        pairs += ends if device.polarity > 0 else ((end, base) for base, end in ends)
        saturation += [device.saturation_amperes] * 2
        slope += [device.emission * THERMAL_VOLTS] * 2
        blocks.append(
            np.array([[1 + 1 / device.forward_gain, -1.0], [-1.0, 1 + 1 / device.reverse_gain]])
        )
    coupling = np.zeros((len(pairs), len(pairs)))
    at = 0
    for block in blocks:
        coupling[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    return Junctions(ends_of(tuple(pairs), size), np.array(saturation), np.array(slope), coupling)


def filled_up(junctions: Junctions) -> Junctions:
    """As many as the core takes; those added lie between no nodes and carry nothing."""
    n, p = junctions.ends.shape
    more = FOUR * groups_of(p) - p
    return Junctions(
        np.hstack([junctions.ends, np.zeros((n, more))]),
        np.append(junctions.saturation, np.full(more, _NO_AMPERES)),
        np.append(junctions.slope_volts, np.full(more, THERMAL_VOLTS)),
        np.pad(junctions.coupling, (0, more)),
    )


def linearised(descriptor: Descriptor, junctions: Junctions, volts: Array) -> Descriptor:
    """The equations for small signals about these junction voltages."""
    conductance = junctions.ends @ junctions.conductance(volts) @ junctions.ends.T
    return replace(descriptor, fixed=descriptor.fixed - conductance)
