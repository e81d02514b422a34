"""How the EMF of a pickup follows from the wave on the string, by its place."""

import numpy as np

from presolder.models.typing import Array, ComplexArray

# Of a wave at the bridge. Close to 1 on real strings; chosen, not measured, so that what lies in
# a null of the pickup that a take was made with is lifted by 32 dB at most.
REFLECTED = 0.95


def wave_weights(wave_seconds: tuple[float | None, ...], frequency_hz: Array) -> ComplexArray:
    """EMF of pickups over that of the wave as it reaches the bridge.

    Parameters
    ----------
    wave_seconds : tuple of float or None
        How long the wave takes from each place to the bridge; None for an EMF
        that is the recording's own.
    frequency_hz : ndarray, shape (f,)

    Returns
    -------
    ndarray of complex, shape (p, f)

    Notes
    -----
    A wave passes the pickup on its way to the bridge, comes back turned round,
    and passes it again: a comb, exp(j w t) - r exp(-j w t). With r = 1 this is
    2j sin(w t), in which the n-th harmonic of an open string has the share
    sin(n pi x / L) of its mode at the place x (Fletcher and Rossing, The
    Physics of Musical Instruments, chapter 2, from memory; M. Zollner,
    Physik der Elektrogitarre, section 2.8, models the string so). It holds
    once the pluck has gone by, for a string without stiffness.
    """
    turn = 2j * np.pi * frequency_hz
    return np.array(
        [
            np.ones(frequency_hz.size)
            if seconds is None
            else np.exp(turn * seconds) - REFLECTED * np.exp(-turn * seconds)
            for seconds in wave_seconds
        ],
        dtype=np.complex128,
    )
