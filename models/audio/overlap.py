"""Cut a stream into overlapping windows, for filtering by FFT.

Overlap-save as in Oppenheim and Schafer, Discrete-Time Signal Processing,
section 8.7.3: each window is transformed whole, and the part of the result
that the circular wrap cannot have reached is kept.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from presolder.models.typing import Array, ComplexArray


def windowed(
    blocks: Iterable[Array], size: int, before: int, after: int
) -> Iterator[tuple[Array, int]]:
    """Yield windows that overlap by `before` + `after` samples.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        The stream in order; the blocks may differ in length.
    size : int
        Samples in a window.
    before, after : int
        How many of them precede and follow the part that is kept.

    Yields
    ------
    window : ndarray, shape (channels, size)
        Valid until the next one is asked for. Outside the stream it is zero.
    count : int
        Samples to keep, from index `before`. They add up to the stream's
        length, and do not depend on how the stream was cut into blocks.
    """
    hop = size - before - after
    window: Array | None = None
    filled = before
    for block in blocks:
        if window is None:
            window = np.zeros((block.shape[0], size))
        used = 0
        while used < block.shape[1]:
            count = min(size - filled, block.shape[1] - used)
            window[:, filled : filled + count] = block[:, used : used + count]
            used += count
            filled += count
            if filled == size:
                yield window, hop
                window[:, : size - hop] = window[:, hop:].copy()
                filled -= hop
    while window is not None and filled > before:
        window[:, filled:] = 0.0
        yield window, min(hop, filled - before)
        window[:, : size - hop] = window[:, hop:].copy()
        filled -= hop


@dataclass(frozen=True, eq=False)
class FilterBank:
    """One or more FIR filters that share their input.

    Attributes
    ----------
    spectra : ndarray of complex, shape (filters, bins)
        Spectra of the impulse responses, zero-padded to ``fft_size``.
    taps : int
        Length of the impulse responses.
    lead : int
        How many of the taps look ahead of the output sample.
    """

    spectra: ComplexArray
    taps: int
    lead: int

    @property
    def fft_size(self) -> int:
        """Points of the FFT."""
        return 2 * (int(self.spectra.shape[1]) - 1)

    @property
    def impulses(self) -> Array:
        """The impulse responses, shape (filters, taps)."""
        return np.asarray(np.fft.irfft(self.spectra, self.fft_size)[:, : self.taps])

    def power_at(self, frequency_hz: Array, sample_rate_hz: float) -> Array:
        """Power gain of the first filter, same shape as the frequencies."""
        bins_hz = np.linspace(0.0, 0.5 * sample_rate_hz, self.spectra.shape[1])
        power = np.square(np.abs(self.spectra[0]))
        return np.asarray(np.interp(frequency_hz, bins_hz, power), dtype=np.float64)


def filter_bank(impulses: Array, lead: int = 0) -> FilterBank:
    """Prepare FIR filters for `filtered`.

    Parameters
    ----------
    impulses : ndarray, shape (filters, taps)
        Impulse responses.
    lead : int
        Index of time zero in them.
    """
    taps = int(impulses.shape[1])
    fft_size = max(1 << 12, 4 << int(np.ceil(np.log2(taps))))
    return FilterBank(np.fft.rfft(impulses, fft_size), taps, lead)


def filtered(blocks: Iterable[Array], bank: FilterBank) -> Iterator[Array]:
    """Run a stream through every filter of a bank, sample-aligned.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        The stream.
    bank : FilterBank
        From `filter_bank`.

    Yields
    ------
    ndarray, shape (channels, filters, n)
        As many samples in all as the stream has.
    """
    before = bank.taps - 1 - bank.lead
    for window, count in windowed(blocks, bank.fft_size, before, bank.lead):
        spectrum = np.fft.rfft(window)
        kept = slice(bank.taps - 1, bank.taps - 1 + count)
        signal = np.empty((window.shape[0], bank.spectra.shape[0], count))
        # One after the other: all at once would be the largest thing in memory.
        for at, response in enumerate(bank.spectra):
            signal[:, at] = np.fft.irfft(spectrum * response, bank.fft_size)[:, kept]
        yield signal
