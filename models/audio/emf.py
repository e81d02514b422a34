"""From the recording back to the pickup's EMF, at the instants the recursion needs.

A take recorded at the jack already went through pickup, pots, cable and input.
Its spectrum is divided by the transfer function of the chain as it stood
then, so that the chain under audition is heard once and not twice. The same
frequency-domain filter also interpolates the EMF to the collocation nodes
between samples, which costs nothing extra. There is no latency: the output is
sample-aligned.
"""

from collections.abc import Iterable, Iterator

import numpy as np

from presolder.models.audio.overlap import FilterBank, filter_bank, filtered_in_place
from presolder.models.circuit.assembly import Descriptor, waves_of
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.equations import take_equations
from presolder.models.circuit.recursion import collocation_nodes
from presolder.models.circuit.response import transfer
from presolder.models.circuit.wave import wave_weights
from presolder.models.decibels import amplitude, power
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array, ComplexArray

# The EMF is band-limited by a raised cosine between these two frequencies (or
# the same fractions of the sample rate, where that is lower): beyond hearing,
# dividing by a falling response would only lift noise.
PASS_HZ, PASS_FRACTION = 20_000.0, 0.42
STOP_HZ, STOP_FRACTION = 24_000.0, 0.5
# How many samples such a filter reaches each way; past them it lies below -120 dB.
BAND_LIMIT_REACH = 1 << 10
# No frequency is lifted by more than this over the best-passed one, which
# only bites on takes made with the volume or tone rolled far down.
LARGEST_LIFT_DB = 60.0
# Length of the inverse's impulse response in seconds, what share of it lies ahead, and from
# where on anything is given back, in hertz. The slowest decay in it is most often the tone
# capacitor discharging through the tone pot, 11 ms with usual parts; where it does not die
# away in one of these, the next is taken. An integrator, as a piezo's chain asks for, never
# does: the last one ends below hearing.
_MEMORIES = ((0.17, 1 / 4, 0.0), (0.34, 1 / 8, 0.0), (0.68, 1 / 8, 0.0), (1.36, 1 / 2, 5.0))
# What of it lies before and after all but this is left out.
_NOTHING_DB = -170.0
# So much of it must be nothing at its end.
_QUIET_FRACTION = 1 / 16
# Of the interpolation between phases: samples to either side, and its window's shape,
# which for so many lets -170 dB past the transition.
_KERNEL_REACH, _KAISER_BETA = 6, 17.8


def emf_filters(
    sample_rate_hz: float,
    take: Descriptor | None = None,
    dial: float = 10.0,
    instants: Array | None = None,
    wave_seconds: tuple[float | None, ...] = (None,),
    recorded_at: float | None = None,
) -> FilterBank:
    """Design the filters that recover the EMF from a recording.

    Parameters
    ----------
    sample_rate_hz : float
        Sample rate of the recording.
    take : Descriptor, optional
        The chain during the take; None if the recording is the EMF itself.
    dial : float
        Volume dial during the take, above 0.
    instants : ndarray, shape (q,), optional
        When within each sample's step the EMF is wanted, as fractions of it; by
        default `collocation_nodes`.
    wave_seconds : tuple of float or None
        Whose EMFs, as in `Descriptor`.
    recorded_at : float, optional
        If the recording is the EMF of a pickup somewhere along a string: as
        `wave_seconds` of that place.

    Returns
    -------
    FilterBank
        One filter an instant, EMF by EMF.

    Notes
    -----
    The division is by H (1 + (floor / abs(H))^4): where abs(H) is well above
    the floor this is 1 / H to within rounding, and far below it goes to zero.
    """
    wanted_at = collocation_nodes() if instants is None else instants

    # At each sample and half a sample before; what lies between follows from these.
    phases = np.array([-0.5, 0.0])

    def wanted(frequency_hz: Array, lowest_hz: float) -> ComplexArray:
        # DC itself is avoided: nodes between two capacitors have no voltage there.
        above_dc_hz = np.maximum(frequency_hz, 1e-3)
        whole = band_limit(frequency_hz, sample_rate_hz).astype(np.complex128)
        whole /= 1.0 + (lowest_hz / above_dc_hz) ** 4
        if take is not None:
            chain = transfer(take, above_dc_hz, dial, from_string=True)[0]
            chain[0] = chain[0].real
            whole /= bounded(chain)
        elif recorded_at is not None:
            whole /= wave_weights((recorded_at,), frequency_hz)[0]
        turn = 2j * np.pi * phases[:, None] * (frequency_hz / sample_rate_hz)
        own = wave_weights(wave_seconds, frequency_hz)[:, None] * whole
        return np.asarray(own * np.exp(turn), dtype=np.complex128)

    for seconds, ahead, lowest_hz in _MEMORIES:
        taps = 1 << int(np.ceil(np.log2(seconds * sample_rate_hz)))
        lead = int(taps * ahead)
        spectra = wanted(np.linspace(0.0, 0.5 * sample_rate_hz, taps // 2 + 1), lowest_hz)
        impulses = np.roll(np.fft.irfft(spectra, taps), lead, axis=-1).reshape(-1, taps)
        first, last = _extent(impulses)
        if last < (1.0 - _QUIET_FRACTION) * taps:
            break
    first = min(first, lead)
    kernels = kernels_between(wanted_at - 1.0, phases)
    return filter_bank(impulses[:, first:last], lead - first, kernels)


def kernels_between(instants: Array, phases: Array) -> Array:
    """What interpolates a signal known at several instants of each sample, all evenly spaced.

    Parameters
    ----------
    instants : ndarray, shape (q,)
        Wanted, in samples from each sample, -1 to 0.
    phases : ndarray, shape (p,)
        Known, likewise.

    Returns
    -------
    ndarray, shape (q, p, 2 reach + 1)

    Notes
    -----
    A sinc in Kaiser's window (Oppenheim and Schafer, Discrete-Time Signal
    Processing, section 7.5.3). What is known so densely ends at half of its own
    Nyquist frequency, so that the transition may be as wide as its whole band.
    """
    count = phases.size
    half_width = _KERNEL_REACH * count
    known_at = np.arange(-_KERNEL_REACH, _KERNEL_REACH + 1) + phases[:, None]
    distance = count * (known_at - instants[:, None, None])
    inside = np.sqrt(np.maximum(1.0 - np.square(distance / half_width), 0.0))
    window = np.where(np.abs(distance) < half_width, np.i0(_KAISER_BETA * inside), 0.0)
    return np.ascontiguousarray(np.sinc(distance) * window / np.i0(_KAISER_BETA))


def _extent(impulses: Array) -> tuple[int, int]:
    """Where impulse responses, shape (filters, taps), begin and end, but for next to nothing."""
    energy = np.cumsum(np.square(impulses), axis=1)
    energy /= energy[:, -1:]
    nothing = power(_NOTHING_DB)
    first = np.argmax(energy > nothing, axis=1).min()
    last = np.argmax(energy >= 1.0 - nothing, axis=1).max()
    return int(first), int(last) + 1


def filters_for(rig: Rig, sample_rate_hz: float, instants: Array | None = None) -> FilterBank:
    """The filters for a rig's takes, to the EMF of each of its pickups.

    Parameters
    ----------
    rig : Rig
    sample_rate_hz : float
    instants : ndarray, shape (q,), optional
        As for `emf_filters`.
    """
    string, place = rig.take.string, rig.take.string_place_metres
    return emf_filters(
        sample_rate_hz,
        take_equations(rig),
        rig.take.dial,
        instants,
        waves_of(control_chain(rig, None).branches),
        None if string is None or place is None else string.wave_seconds(place),
    )


def bounded(chain: ComplexArray) -> ComplexArray:
    """A chain's response kept from falling so low that dividing by it lifts too much.

    Parameters
    ----------
    chain : ndarray of complex, shape (f,)
        At frequencies that reach where it passes best.

    Returns
    -------
    ndarray of complex, shape (f,)
        H (1 + (floor / abs(H))^4), the floor lying `LARGEST_LIFT_DB` below the
        best-passed frequency.
    """
    size = np.abs(chain)
    floor = size.max() * amplitude(-LARGEST_LIFT_DB)
    return np.asarray(chain * (1.0 + (floor / size) ** 4), dtype=np.complex128)


def band_limit(frequency_hz: Array, sample_rate_hz: float) -> Array:
    """Gain of the raised cosine that ends the audio band, same shape as the frequencies."""
    start = min(PASS_HZ, PASS_FRACTION * sample_rate_hz)
    stop = min(STOP_HZ, STOP_FRACTION * sample_rate_hz)
    travel = np.clip((frequency_hz - start) / (stop - start), 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * travel), dtype=np.float64)


def recover_emf(blocks: Iterable[Array], filters: FilterBank) -> Iterator[Array]:
    """Stream the EMF, as `recover_emf_in_place`, each block its own."""
    return (emf.copy() for emf in recover_emf_in_place(blocks, filters))


def recover_emf_in_place(blocks: Iterable[Array], filters: FilterBank) -> Iterator[Array]:
    """Stream the EMF at the collocation nodes of every sample's step.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        The recording in order; the blocks may differ in length.
    filters : FilterBank
        From `emf_filters`.

    Yields
    ------
    ndarray, shape (channels, filters, n)
        The stream starts ``filters.lead`` samples before the recording (the
        EMF's own onset) and ends with its last sample. The length of these
        blocks depends on the filters alone, so that results do not depend on
        how the recording was cut into blocks. Each is valid until the next is
        asked for.
    """
    return filtered_in_place(_with_onset(blocks, filters.lead), filters)


def _with_onset(blocks: Iterable[Array], lead: int) -> Iterator[Array]:
    started = False
    for block in blocks:
        if not started:
            yield np.zeros((block.shape[0], lead))
            started = True
        yield block
