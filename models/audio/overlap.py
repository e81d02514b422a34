"""Cut a stream into overlapping windows, for filtering by FFT.

Overlap-save as in Oppenheim and Schafer, Discrete-Time Signal Processing,
section 8.7.3: each window is transformed whole, and the part of the result
that the circular wrap cannot have reached is kept.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from presolder.models.core import combine
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


def taken_from(blocks: Iterable[Array]) -> Callable[[int], Array]:
    """Take a stream in pieces of any length, for use beside one cut otherwise.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (..., n)
        The stream; its blocks stay valid when the next is asked for.

    Returns
    -------
    callable
        Gives the next so many samples, which the stream must have.
    """
    coming = iter(blocks)
    held: list[Array] = []

    def take(count: int) -> Array:
        while not held or held[0].shape[-1] < count:
            held[:] = [np.concatenate([*held, next(coming)], axis=-1)]
        taken, held[0] = held[0][..., :count], held[0][..., count:]
        return taken

    return take


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
    kernels : ndarray, shape (instants, phases, 2 reach + 1), optional
        What makes signals at several instants out of so many filters in turn,
        by short sums over the samples around; see `combine`. By default each
        filter's signal is one that is wanted.
    """

    spectra: ComplexArray
    taps: int
    lead: int
    kernels: Array | None = None

    @property
    def reach(self) -> int:
        """How many samples to either side the kernels take."""
        return 0 if self.kernels is None else int(self.kernels.shape[2]) // 2

    @property
    def signal_count(self) -> int:
        """How many signals come out."""
        if self.kernels is None:
            return int(self.spectra.shape[0])
        instants, phases, _ = self.kernels.shape
        return int(self.spectra.shape[0] // phases * instants)

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


def filter_bank(impulses: Array, lead: int = 0, kernels: Array | None = None) -> FilterBank:
    """Prepare FIR filters for `filtered`.

    Parameters
    ----------
    impulses : ndarray, shape (filters, taps)
        Impulse responses.
    lead : int
        Index of time zero in them.
    kernels : ndarray, optional
        As `FilterBank` has it.
    """
    taps = int(impulses.shape[1])
    fft_size = max(1 << 14, 4 << int(np.ceil(np.log2(taps))))
    return FilterBank(np.fft.rfft(impulses, fft_size), taps, lead, kernels)


def filtered(blocks: Iterable[Array], bank: FilterBank) -> Iterator[Array]:
    """Run a stream through every filter of a bank, as `filtered_in_place`, each block its own."""
    return (signals.copy() for signals in filtered_in_place(blocks, bank))


def filtered_in_place(blocks: Iterable[Array], bank: FilterBank) -> Iterator[Array]:
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
        As many samples in all as the stream has. Valid until the next is asked for.
    """
    before, after = bank.taps - 1 - bank.lead + bank.reach, bank.lead + bank.reach
    filters, bins = bank.spectra.shape
    room: _Room | None = None
    for window, count in windowed(blocks, bank.fft_size, before, after):
        channels = window.shape[0]
        if room is None:
            room = _Room(
                np.empty((channels, 1, bins), np.complex128),
                np.empty((channels, filters, bins), np.complex128),
                np.empty((channels, filters, bank.fft_size)),
                np.empty((channels, bank.signal_count, bank.fft_size - before - after)),
            )
        np.fft.rfft(window, out=room.spectrum[:, 0])
        np.multiply(room.spectrum, bank.spectra, out=room.spectra)
        np.fft.irfft(room.spectra, bank.fft_size, out=room.filtered)
        kept = room.filtered[:, :, bank.taps - 1 : bank.taps - 1 + count + 2 * bank.reach]
        if bank.kernels is None:
            yield kept
        else:
            _combine_groups(kept, bank.kernels, room.combined[:, :, :count])
            yield room.combined[:, :, :count]


@dataclass(frozen=True, eq=False)
class _Room:
    """Memory to work in, taken once: fresh for each window costs as much as its transforms."""

    spectrum: ComplexArray
    spectra: ComplexArray
    filtered: Array
    combined: Array


def _combine_groups(signals: Array, kernels: Array, output: Array) -> None:
    """Out of each group of phases, its signals at the instants wanted; see `FilterBank`."""
    instants, phases, _ = kernels.shape
    for channel, into in zip(signals, output, strict=True):
        for group in range(channel.shape[0] // phases):
            mine = channel[group * phases : (group + 1) * phases]
            combine(mine, kernels, into[group * instants : (group + 1) * instants])
