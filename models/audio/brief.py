"""Impulse responses as short ones, each with a few slow decays after it.

What undoes a chain ends as its capacitors discharge: a seventh of a second that
is a sum of some exponentials, which a step of a recursion a sample each goes on
with. They are found by the matrix pencil (Hua and Sarkar, "Matrix pencil method for
estimating parameters of exponentially damped/undamped sinusoids in noise", IEEE
Trans. ASSP 38, 1990).
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from presolder.models.audio.emf import unheard_beside
from presolder.models.audio.overlap import FilterBank
from presolder.models.typing import Array, ComplexArray

# What is left away before, and what is not met after, at any frequency that is heard.
_ERROR_DB = -128.0
_MOST_DECAYS = 5
# How many samples past time zero may be kept before the decays, at 48 kHz.
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
    """The shortest form of a bank that is it to within -122 dB where it is heard.

    Parameters
    ----------
    bank : FilterBank
    sample_rate_hz : float
    """
    # As many bins as it takes for so many taps.
    size = 1 << int(np.ceil(np.log2(bank.taps)))
    largest = np.abs(bank.spectra[:, :: bank.fft_size // size]).max(axis=0)
    beside = unheard_beside(largest, _ERROR_DB, sample_rate_hz)

    def unheard(error: Array) -> bool:
        return beside(np.fft.rfft(error, size))

    whole = bank.impulses
    steps = range(0, bank.lead, _STEP)
    cut = bisect_right(steps, False, key=lambda first: not unheard(whole[:, :first]))
    first = steps[cut - 1] if cut else 0

    scale = max(1, round(sample_rate_hz / 48_000))
    lasts = [last for kept in _KEPT if (last := bank.lead + scale * kept) < bank.taps]
    # Where few do, more do too; all of them want none.
    at = bisect_left(lasts, True, key=lambda last: _tail(whole[:, last:], unheard) is not None)
    last = [*lasts, bank.taps][at]
    tail = _tail(whole[:, last:], unheard)
    assert tail is not None
    return Brief(whole[:, first:last], bank.lead - first, *tail)


def reach(circular: Array, sample_rate_hz: float, factor: int) -> int:
    """How far to either side of its time zero an impulse response is wanted, by the same measure.

    Parameters
    ----------
    circular : ndarray, shape (n,)
        What comes before time zero at its end.
    sample_rate_hz : float
    factor : int
        Its own samples to one at that rate, in which the answer is.
    """
    beside = unheard_beside(np.fft.rfft(circular), _ERROR_DB, sample_rate_hz * factor)
    most = circular.size // (2 * factor)

    def enough(samples: int) -> bool:
        beyond = circular.copy()
        beyond[: (samples + 1) * factor] = beyond[circular.size - samples * factor :] = 0.0
        return beside(np.fft.rfft(beyond))

    steps = range(_STEP, most, _STEP)
    return steps[bisect_left(steps, True, hi=len(steps) - 1, key=enough)]


def _tail(
    tails: Array, unheard: Callable[[Array], bool]
) -> tuple[ComplexArray, ComplexArray] | None:
    """Poles and weights of the fewest decays that do for tails, if any do."""
    for poles in _decays(tails):
        powers = poles[:, np.newaxis] ** np.arange(tails.shape[1])
        # Real and imaginary parts apart, so that the weights' sum is real.
        parts = np.concatenate([powers.real, -powers.imag])
        found = np.linalg.lstsq(parts.T, tails.T, rcond=None)[0].T
        if unheard(tails - found @ parts):
            real, imaginary = np.split(found, 2, axis=1)
            return poles, real + 1j * imaginary
    return None


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
