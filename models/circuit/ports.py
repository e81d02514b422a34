"""The chain as a bypass sees it: solved once, then any number of bypasses put across it.

A bypass adds one admittance between two nodes, which changes the solution by
a matrix of rank one (several volumes with a bypass each: of as high a rank). The Sherman-
Morrison-Woodbury formula (Golub and Van Loan, Matrix Computations, section
2.1.4) then gives the response without solving the circuit again.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.circuit.assembly import ends_of
from presolder.models.circuit.branch import gang_rheostat
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.equations import small_signal
from presolder.models.instrument.network import (
    Capacitor,
    Gang,
    Leaf,
    Network,
    Parallel,
    Resistor,
    Series,
    leaves,
)
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array, ComplexArray


@dataclass(frozen=True, eq=False)
class OpenChain:
    """A rig without its bypass, seen from where bypasses go: p places, d dials, f frequencies.

    Attributes
    ----------
    s : ndarray, shape (f,)
        Complex frequencies, rad/s.
    dial : ndarray, shape (p, d)
        Where the knob of each place stands: it follows the dials asked for
        unless its channel is held.
    bare : ndarray, shape (d, f)
        Response without a bypass.
    across : ndarray, shape (p, d, f)
        Voltage across each place, per volt of EMF.
    reach : ndarray, shape (p, d, f)
        Output voltage per ampere drawn at each place, ohms.
    impedance : ndarray, shape (p, p, d, f)
        Voltage across one place per ampere drawn at another, ohms.
    """

    s: ComplexArray
    dial: Array
    bare: ComplexArray
    across: ComplexArray
    reach: ComplexArray
    impedance: ComplexArray


def open_chain(rig: Rig, frequency_hz: ArrayLike, dial: ArrayLike) -> OpenChain:
    """Solve the chain without the bypass under audition.

    Parameters
    ----------
    rig : Rig
        The instrument. Each channel that gets the bypass under audition is a
        place; one with a bypass of its own keeps it.
    frequency_hz : array_like, shape (f,)
        Frequencies above zero.
    dial : array_like, shape (d,)
        Dial positions.

    Returns
    -------
    OpenChain
    """
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    s = np.asarray(2j * np.pi * frequency, dtype=np.complex128)
    dials = np.atleast_1d(np.asarray(dial, dtype=np.float64))
    bare = control_chain(rig, None)
    descriptor = small_signal(bare.branches, bare.devices, rig.load.stage)
    pairs = tuple((place.start, place.end) for place in bare.places)
    ends = ends_of(pairs, descriptor.size)
    pencil = s[:, None, None] * descriptor.mass - descriptor.system(dials)[:, None]
    driven = np.column_stack([descriptor.common_drive, ends])
    unknowns = np.linalg.solve(pencil, driven[None, None]).astype(np.complex128)
    solved = np.moveaxis(unknowns, (-2, -1), (0, 1))
    # Of a place's few nodes only: a product of matrices would wait for threads of its own.
    across = np.stack(
        [sum(end[node] * solved[node] for node in np.flatnonzero(end)) for end in ends.T]
    )
    output = solved[descriptor.output]
    stands = np.stack(
        [
            dials if place.held_at is None else np.full_like(dials, place.held_at)
            for place in bare.places
        ]
    )
    return OpenChain(s, stands, output[0], across[:, 0], output[1:], across[:, 1:])


def bridged(chain: OpenChain, admittance: tuple[ComplexArray, ...]) -> ComplexArray:
    """Response with a bypass at every place.

    Parameters
    ----------
    chain : OpenChain
        From `open_chain`.
    admittance : tuple of ndarray, shape (..., d, f)
        Of the bypass at each place, siemens; leading axes are designs.

    Returns
    -------
    ndarray of complex, shape (..., d, f)
    """
    z = chain.impedance
    if len(admittance) == 1:
        (y,) = admittance
        drawn = y * chain.across[0] / (1.0 + y * z[0, 0])
        return np.asarray(chain.bare - chain.reach[0] * drawn, dtype=np.complex128)
    if len(admittance) == 2:
        return _with_two(chain, *admittance)
    *whole, _ = np.broadcast_arrays(*admittance, chain.bare)
    y = np.stack(whole, axis=-1)
    matrix = np.eye(y.shape[-1]) + np.moveaxis(z, (0, 1), (-2, -1)) * y[..., None, :]
    across = np.broadcast_to(np.moveaxis(chain.across, 0, -1), y.shape)
    volts = np.linalg.solve(matrix, across[..., None])[..., 0]
    drawn = (np.moveaxis(chain.reach, 0, -1) * y * volts).sum(axis=-1)
    return np.asarray(chain.bare - drawn, dtype=np.complex128)


def _with_two(chain: OpenChain, first: ComplexArray, second: ComplexArray) -> ComplexArray:
    """By Cramer's rule, which is much faster than many small systems."""
    z = chain.impedance
    corner, other = 1.0 + z[0, 0] * first, 1.0 + z[1, 1] * second
    determinant = corner * other - z[0, 1] * z[1, 0] * first * second
    u = (other * chain.across[0] - z[0, 1] * second * chain.across[1]) / determinant
    v = (corner * chain.across[1] - z[1, 0] * first * chain.across[0]) / determinant
    drawn_output = chain.reach[0] * first * u + chain.reach[1] * second * v
    return np.asarray(chain.bare - drawn_output, dtype=np.complex128)


def bridged_by(chain: OpenChain, network: Network | None) -> ComplexArray:
    """Response with the same bypass at every place, shape (d, f)."""
    return bridged_with(chain, (network,) * len(chain.dial))


def bridged_with(chain: OpenChain, networks: Sequence[Network | None]) -> ComplexArray:
    """Response with a bypass of its own at each place, all or none of them bare, shape (d, f)."""
    fitted = [network for network in networks if network is not None]
    if not fitted:
        return chain.bare
    return bridged(
        chain,
        tuple(
            combined(network, (leaf_admittance(leaf, chain.s, stands) for leaf in leaves(network)))
            for network, stands in zip(fitted, chain.dial, strict=True)
        ),
    )


def leaf_admittance(leaf: Leaf, s: ComplexArray, dial: Array) -> ComplexArray:
    """Admittance of one part, shape (d, f), (1, f) or (d, 1): whichever it depends on."""
    match leaf:
        case Resistor(ohms):
            return np.full((1, 1), 1.0 / ohms, dtype=np.complex128)
        case Capacitor(farads):
            return farads * s[None, :]
        case Gang(ohms):
            share = gang_rheostat(leaf).share(dial)
            return np.asarray(1.0 / (ohms * share), dtype=np.complex128)[:, None]


def combined(network: Network, parts: Iterator[ComplexArray]) -> ComplexArray:
    """Admittance of a network from those of its parts, taken left to right."""
    if isinstance(network, Parallel):
        return _total([combined(part, parts) for part in network.parts])
    if isinstance(network, Series):
        inverse = _total([1.0 / combined(part, parts) for part in network.parts])
        return np.asarray(1.0 / inverse, dtype=np.complex128)
    return next(parts)


def _total(values: list[ComplexArray]) -> ComplexArray:
    total = values[0]
    for value in values[1:]:
        total = total + value
    return total
