"""Impulse responses as short ones, each with a few slow decays after it.

What undoes a chain ends as its capacitors discharge: a seventh of a second that
is a sum of some exponentials, which a step of a recursion a sample each goes on
with. They are found by the matrix pencil (Hua and Sarkar, "Matrix pencil method for
estimating parameters of exponentially damped/undamped sinusoids in noise", IEEE
Trans. ASSP 38, 1990).
"""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from presolder.models.audio.emf import HEARD_HZ
from presolder.models.audio.overlap import FilterBank
from presolder.models.decibels import amplitude
from presolder.models.typing import Array, ComplexArray

# What is left away before, and what is not met after, at any frequency that is heard.
_ERROR_DB = -128.0
_MOST_DECAYS = 5
# How many samples past time zero are kept before the decays, by turns; one more is all.
_STEP, _KEPT = 16, (64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256, 320, 384, 512, 1024)
# Of a tail so many samples are looked at, evenly spaced: each decay is slow beside them.
_LOOKED_AT = 120


@dataclass(frozen=True, eq=False)
class Brief:
    """Filters that share their input and their decays.

    Attributes
    ----------
    impulses : ndarray, shape (filters, taps)
    lead : int
        How many of the taps look ahead of the output sample.
    poles : ndarray of complex, shape (k,)
        What is left of each decay a sample later.
    weights : ndarray of complex, shape (filters, k)
        Of each at the first sample after the taps; what is heard of it is its real part.
    """

    impulses: Array
    lead: int
    poles: ComplexArray
    weights: ComplexArray


def brief(bank: FilterBank, sample_rate_hz: float) -> Brief:
    """The shortest form of a bank that is it to within -126 dB where it is heard.

    Parameters
    ----------
    bank : FilterBank
    sample_rate_hz : float
    """
    whole, hz = bank.impulses, np.linspace(0.0, 0.5 * sample_rate_hz, bank.spectra.shape[1])
    heard = (hz >= HEARD_HZ[0]) & (hz <= HEARD_HZ[1])
    allowed = amplitude(_ERROR_DB) * np.abs(bank.spectra[:, heard]).max(axis=0)

    def unheard(error: Array) -> bool:
        spectra = np.fft.rfft(error, bank.fft_size)[:, heard]
        return bool((np.abs(spectra) <= allowed).all())

    steps = range(0, bank.lead, _STEP)
    cut = bisect_right(steps, False, key=lambda first: not unheard(whole[:, :first]))
    first = steps[cut - 1] if cut else 0
    for last in (bank.lead + kept for kept in _KEPT if bank.lead + kept < bank.taps):
        tail = whole[:, last:]
        for poles in _decays(tail):
            powers = poles[:, np.newaxis] ** np.arange(tail.shape[1])
            # Real and imaginary parts apart, so that the weights' sum is real.
            parts = np.concatenate([powers.real, -powers.imag])
            found = np.linalg.lstsq(parts.T, tail.T, rcond=None)[0].T
            if unheard(tail - found @ parts):
                real, imaginary = np.split(found, 2, axis=1)
                return Brief(whole[:, first:last], bank.lead - first, poles, real + 1j * imaginary)
    none = np.zeros(0, np.complex128)
    return Brief(
        whole[:, first:], bank.lead - first, none, np.zeros((len(whole), 0), np.complex128)
    )


def _decays(tails: Array) -> Iterator[ComplexArray]:
    """What tails that share their decays may be sums of: none, one, and so on, of pairs the one."""
    apart = max(1, tails.shape[1] // _LOOKED_AT)
    yield np.zeros(0, np.complex128)
    looked_at = tails[:, ::apart]
    length = looked_at.shape[1] // 3
    if length <= _MOST_DECAYS:
        return
    early, late = (
        np.concatenate(sliding_window_view(part, length, axis=1)).T
        for part in (looked_at[:, :-1], looked_at[:, 1:])
    )
    left, sizes, right = np.linalg.svd(early, full_matrices=False)
    for count in range(1, _MOST_DECAYS + 1):
        pencil = (left[:, :count].T @ late @ right[:count].T) / sizes[:count, np.newaxis]
        found = np.linalg.eigvals(pencil).astype(np.complex128)
        yield found[(np.abs(found) < 1.0) & (found.imag >= 0.0)] ** (1.0 / apart)
