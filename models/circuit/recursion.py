"""From the circuit's equations to a recursion that moves with the knob.

One audio sample is one step of the four-stage Radau IIA collocation method
(Hairer and Wanner, Solving Ordinary Differential Equations II, section IV.5).
It is exact to order seven, so that the static response follows the analogue
one to the top of the audio band without oversampling, and stiffly accurate
and L-stable, so that the exact shorts at the pot's end stops, which turn a
differential state into an algebraic one, settle in one sample instead of
ringing. What is carried from sample to sample are the physical states alone
(capacitor voltages and inductor currents), as in the state-space treatment
of circuits with moving parts by Holters and Zölzer (DAFx-11).

The method's matrix diagonalises, which turns a step into two solves of the
circuit at complex frequencies mu_k / T: a companion-model nodal analysis.
"""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Polynomial

from presolder.models.circuit.assembly import Descriptor
from presolder.models.circuit.wave import wave_weights
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.typing import Array, ComplexArray

STAGES = 4
# Matrices are tabulated over the dial and interpolated linearly between rows.
# With this many rows the interpolation ripple of an audio taper lies more than
# 110 dB below the signal (measured in the tests of the swept tone).
DIAL_ROWS = 2049


def collocation_nodes() -> Array:
    """Instants within a step, as fractions of it, at which the EMF is needed.

    Returns
    -------
    ndarray, shape (4,)
        Rising; the last is exactly 1. They are the roots of the third
        derivative of x^3 (x - 1)^4 (Hairer and Wanner II, equation IV.5.7).
    """
    polynomial = Polynomial([0, 1]) ** (STAGES - 1) * Polynomial([-1, 1]) ** STAGES
    nodes = np.sort(polynomial.deriv(STAGES - 1).roots().real)
    nodes[-1] = 1.0
    return np.asarray(nodes, dtype=np.float64)


def collocation_matrix() -> Array:
    """Runge-Kutta matrix of the method: integrals of the Lagrange polynomials.

    Returns
    -------
    ndarray, shape (4, 4)
        Entry (i, j) is the integral of polynomial j from 0 to node i.
    """
    nodes = collocation_nodes()
    powers = np.arange(STAGES)
    vandermonde = nodes[:, None] ** powers
    integrals = nodes[:, None] ** (powers + 1) / (powers + 1)
    return np.asarray(np.linalg.solve(vandermonde.T, integrals.T).T, dtype=np.float64)


@dataclass(frozen=True)
class Term:
    """One of the solves that a step falls apart into.

    Attributes
    ----------
    eigenvalue : complex
        mu, of the inverse of the collocation matrix.
    last : complex
        What it adds to the last stage.
    weights : ndarray of complex, shape (4,)
        What it takes of the EMF at each node.
    """

    eigenvalue: complex
    last: complex
    weights: ComplexArray


def collocation_terms() -> tuple[Term, ...]:
    """The solves of a step, one of each conjugate pair; see `discretise`."""
    eigenvalues, vectors = np.linalg.eig(np.linalg.inv(collocation_matrix()))
    weights = np.linalg.inv(vectors)
    return tuple(
        Term(complex(eigenvalues[k]), complex(vectors[-1, k]), np.asarray(weights[k]))
        for k in np.flatnonzero(eigenvalues.imag > 0)
    )


@dataclass(frozen=True)
class Recursion:
    """One step of the time-varying filter, tabulated over the dial.

    With v[n] = (states[n-1], each EMF at the four collocation nodes of step n)::

        (states[n], output[n]) = matrix(dial) @ v[n]

    Attributes
    ----------
    dials : ndarray, shape (rows,)
        Dial position of each table row, rising.
    table : ndarray, shape (rows, m + 1, m + 4 p)
        `matrix` at each row's dial position; m is the number of states, p that
        of EMFs, most often 1.
    """

    dials: Array
    table: Array

    @property
    def state_count(self) -> int:
        """Number of physical states, m."""
        return int(self.table.shape[1]) - 1


def dial_rows(row_count: int = DIAL_ROWS) -> Array:
    """Dial position of each table row, denser towards both end stops.

    Parameters
    ----------
    row_count : int
        An odd number, so that dial 5, where `two-slope` bends, is a row.

    Returns
    -------
    ndarray, shape (row_count,)
        Rising from exactly 0 to exactly 10.
    """
    angle = np.linspace(0.0, np.pi, row_count)
    return np.asarray(0.5 * DIAL_MAX * (1.0 - np.cos(angle)), dtype=np.float64)


def discretise(
    descriptor: Descriptor, sample_rate_hz: float, dials: Array | None = None
) -> Recursion:
    """Tabulate the recursion over the dial.

    Parameters
    ----------
    descriptor : Descriptor
        The circuit.
    sample_rate_hz : float
        Audio sample rate.
    dials : ndarray, shape (rows,), optional
        Dial position of each row; by default `dial_rows`.

    Returns
    -------
    Recursion

    Notes
    -----
    Writing the stages Z of the step as Z = S Y, with W = inverse of the
    collocation matrix = S diag(mu) S^-1, the implicit equations fall apart into

        (mu_k / T E - A) Y_k = B (S^-1 u)_k + mu_k / T (S^-1 1)_k E z[n-1]

    and the step ends at its last stage. The eigenvalues come in conjugate
    pairs, so that only one of each pair is solved.
    """
    dials = dial_rows() if dials is None else dials
    state_count = descriptor.reading.shape[0]
    picked = np.vstack(
        [descriptor.reading, np.eye(1, descriptor.fixed.shape[0], descriptor.output)]
    )
    sources = np.column_stack([descriptor.inertia, descriptor.drive])
    systems = descriptor.system(dials)
    emf_count = descriptor.drive.shape[1]
    table = np.zeros((dials.size, state_count + 1, state_count + STAGES * emf_count))
    for term in collocation_terms():
        s = term.eigenvalue * sample_rate_hz
        unknowns = np.linalg.solve(s * descriptor.mass - systems, sources.astype(np.complex128))
        # Twice the real part adds the conjugate twin.
        from_sources = 2.0 * term.last * (picked @ unknowns)
        of_states, of_emf = np.split(from_sources, [state_count], axis=-1)
        table[:, :, :state_count] += (of_states * (s * term.weights.sum())).real
        nodes = (of_emf[..., None] * term.weights).real
        table[:, :, state_count:] += nodes.reshape(*table.shape[:2], -1)
    return Recursion(dials, table)


def recursion_response(
    descriptor: Descriptor, sample_rate_hz: float, dial: float, frequency_hz: Array
) -> ComplexArray:
    """What the recursion does to a steady sine while the knob rests.

    Parameters
    ----------
    descriptor : Descriptor
        The circuit.
    sample_rate_hz : float
    dial : float
    frequency_hz : ndarray, shape (f,)

    Returns
    -------
    ndarray of complex, shape (f,)
        From the string, as for `transfer`, which it follows to the method's order.
    """
    (step,) = discretise(descriptor, sample_rate_hz, np.array([dial])).table
    states = step.shape[0] - 1
    turn = 2j * np.pi * frequency_hz / sample_rate_hz
    nodes = np.exp(turn[:, None] * (collocation_nodes() - 1.0))
    waves = wave_weights(descriptor.wave_seconds, frequency_hz).T
    # Every EMF at every node, as the table has them.
    emf = (waves[:, :, None] * nodes[:, None]).reshape(frequency_hz.size, -1)
    # No matrix product: for one so thin the library's threads would only wait for each other.
    driven = np.einsum("fe,oe->fo", emf, step[:, states:])
    earlier = np.exp(-turn)[:, None, None] * step[:, :states]
    settled = np.linalg.solve(np.eye(states) - earlier[:, :states], driven[:, :states, None])
    return np.asarray(driven[:, states] + (earlier[:, states:] @ settled)[:, 0, 0])
