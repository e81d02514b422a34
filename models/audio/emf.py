"""From the recording back to the pickup's EMF, at the instants the recursion needs.

A take recorded at the jack already went through pickup, pots, cable and input.
Its spectrum is divided by the transfer function of the chain as it stood
then, so that the chain under audition is heard once and not twice. The same
frequency-domain filter also interpolates the EMF to the collocation nodes
between samples, which costs nothing extra. There is no latency: the output is
sample-aligned.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from math import erf

import numpy as np

from presolder.models.audio.overlap import FilterBank, filter_bank, filtered_in_place
from presolder.models.circuit.assembly import waves_of
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.equations import chain_equations, take_equations
from presolder.models.circuit.recursion import collocation_nodes, recursion_response
from presolder.models.circuit.wave import wave_weights
from presolder.models.decibels import amplitude, power_decibels
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array, ComplexArray

# The EMF's band ends between these two frequencies (or the same fractions of the
# sample rate, where that is lower): beyond hearing, dividing by a falling response
# would only lift noise.
PASS_HZ, PASS_FRACTION = 20_000.0, 0.42
STOP_HZ, STOP_FRACTION = 24_000.0, 0.5
# How many samples such a filter reaches each way; past them it lies below -120 dB.
BAND_LIMIT_REACH = 1 << 9
# What was lost on the way to the recording is lifted by no more than this over what was not;
# what the chain under audition takes away again is no loss.
LARGEST_LIFT_DB = 60.0
# Length of the inverse's impulse response in seconds, what share of it lies ahead, and from
# where on anything is given back, in hertz. The slowest decay in it is most often the tone
# capacitor discharging through the tone pot, 11 ms with usual parts; where it does not die
# away in one of these, the next is taken. An integrator, as a piezo's chain asks for, never
# does: the last one ends below hearing.
_MEMORIES = ((0.17, 1 / 16, 0.0), (0.34, 1 / 32, 0.0), (0.68, 1 / 64, 0.0), (1.36, 1 / 2, 12.0))
# Below the last one's lower end it falls as a Gauss curve's integral of this width: its response
# in time is then as short as any that is whole again at 20 Hz.
_LOW_WIDTH_HZ = 2.05
_WHOLE_FROM = 6.0
# An inverse may depart by so much from what it should be, where it is heard.
_ERROR_DB = -152.0
_HEARD_HZ = (20.0, 16_000.0)
# It is shortened in so many steps.
_STEPS = 256
# Bands in hertz for which it is told how well a take nulls.
NULL_BANDS_HZ = ((20.0, 50.0), (50.0, 500.0), (500.0, 8_000.0), (8_000.0, 16_000.0))
_NULL_LINES = 64
# Of the interpolation between phases: samples to either side, and its window's shape,
# which for so many lets -170 dB past the transition.
_KERNEL_REACH, _KAISER_BETA = 6, 17.8


def emf_filters(
    sample_rate_hz: float,
    through: Callable[[Array], ComplexArray] | None = None,
    instants: Array | None = None,
    wave_seconds: tuple[float | None, ...] = (None,),
) -> FilterBank:
    """Design the filters that recover the EMF from a recording.

    Parameters
    ----------
    sample_rate_hz : float
        Sample rate of the recording.
    through : callable, optional
        The response from EMF to recording, at frequencies in hertz, both of
        shape (f,); None if the recording is the EMF itself.
    instants : ndarray, shape (q,), optional
        When within each sample's step the EMF is wanted, as fractions of it; by
        default `collocation_nodes`.
    wave_seconds : tuple of float or None
        Whose EMFs, as in `Descriptor`.

    Returns
    -------
    FilterBank
        One filter an instant, EMF by EMF.
    """
    wanted_at = collocation_nodes() if instants is None else instants

    # At each sample and half a sample before; what lies between follows from these.
    phases = np.array([-0.5, 0.0])

    def whole(frequency_hz: Array) -> ComplexArray:
        band = band_limit(frequency_hz, sample_rate_hz).astype(np.complex128)
        if through is None:
            return band
        # DC itself is avoided: nodes between two capacitors have no voltage there.
        chain = through(np.maximum(frequency_hz, 1e-3))
        chain[0] = chain[0].real
        return band / chain

    impulses, lead = _inverse(whole, phases, wave_seconds, sample_rate_hz)
    return filter_bank(impulses, lead, kernels_between(wanted_at - 1.0, phases))


def _inverse(
    whole: Callable[[Array], ComplexArray],
    phases: Array,
    wave_seconds: tuple[float | None, ...],
    sample_rate_hz: float,
) -> tuple[Array, int]:
    """The shortest impulse responses that are right wherever it is heard.

    Parameters
    ----------
    whole : callable
        The response wanted, at frequencies in hertz.
    phases : ndarray, shape (p,)
        How many samples later, each.
    wave_seconds : tuple of float or None, length e
    sample_rate_hz : float

    Returns
    -------
    impulses : ndarray, shape (e p, taps)
    lead : int
        How many of the taps look ahead.
    """
    for seconds, ahead, lowest_hz in _MEMORIES:
        taps = 1 << int(np.ceil(np.log2(seconds * sample_rate_hz)))
        lead = int(taps * ahead)
        hz = np.linspace(0.0, 0.5 * sample_rate_hz, taps // 2 + 1)
        response = whole(hz)
        later = np.exp(2j * np.pi * (phases[:, None] - lead) * (hz / sample_rate_hz))
        wanted = (wave_weights(wave_seconds, hz)[:, None] * (response * later)).reshape(-1, hz.size)
        impulses = np.fft.irfft(wanted * _above(lowest_hz, hz), taps)
        unheard = unheard_beside(response, _ERROR_DB, sample_rate_hz)
        error = partial(_error, impulses, wanted)
        steps = range(0, taps + 1, taps // _STEPS)
        last = steps[bisect_left(steps, True, hi=_STEPS, key=lambda n: unheard(error(0, n)))]
        # What would come after its end lies on its beginning, unseen, and is as much as what is
        # left away before that or more.
        if last <= taps - taps // 16:
            break
    first = steps[bisect_right(steps, False, key=lambda n: not unheard(error(n, last))) - 1]
    return impulses[:, first:last], lead - first


def _error(impulses: Array, wanted: ComplexArray, first: int, last: int) -> ComplexArray:
    """How far the samples from one up to another are from what is wanted."""
    kept = np.zeros_like(impulses)
    kept[:, first:last] = impulses[:, first:last]
    return np.fft.rfft(kept) - wanted


def unheard_beside(
    response: ComplexArray | Array, error_db: float, sample_rate_hz: float
) -> Callable[[ComplexArray], bool]:
    """What tells whether an error lies so far below a response at every frequency that is heard.

    Parameters
    ----------
    response : ndarray, shape (f,)
        From 0 Hz to half the sample rate, as the spectra of errors, shape (..., f).
    error_db : float
    sample_rate_hz : float
    """
    hz = np.linspace(0.0, 0.5 * sample_rate_hz, response.size)
    heard = (hz >= _HEARD_HZ[0]) & (hz <= _HEARD_HZ[1])
    allowed = amplitude(error_db) * np.abs(response[heard])
    return lambda error: bool((np.abs(error[..., heard]) <= allowed).all())


def _above(lowest_hz: float, frequency_hz: Array) -> Array | float:
    """A high-pass that is whole again at 20 Hz, and whose response in time is short for that."""
    if lowest_hz == 0:
        return 1.0
    place = (frequency_hz - lowest_hz) / _LOW_WIDTH_HZ
    # A Gauss curve's integral.
    return np.array([0.5 + 0.5 * erf(at) if at < _WHOLE_FROM else 1.0 for at in place])


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


def filters_for(rig: Rig, sample_rate_hz: float, instants: Array | None = None) -> FilterBank:
    """The filters for a rig's takes, to the EMF of each of its pickups.

    Parameters
    ----------
    rig : Rig
    sample_rate_hz : float
    instants : ndarray, shape (q,), optional
        As for `emf_filters`.

    Notes
    -----
    A jack take is divided by what the recursion makes of the chain as it stood,
    and not by the analogue response: it departs from that by its method's error
    (some -100 dB at 16 kHz), which a guitar of which nothing is changed must not show.
    """
    take, heard = take_equations(rig), chain_equations(rig.as_heard, None)
    string, place = rig.take.string, rig.take.string_place_metres
    seconds = None if string is None or place is None else string.wave_seconds(place)

    def through(frequency_hz: Array) -> ComplexArray:
        if take is None:
            of_place: ComplexArray = wave_weights((seconds,), frequency_hz)[0]
            return of_place
        stood = recursion_response(take, sample_rate_hz, rig.take.dial, frequency_hz)
        return bounded(stood, recursion_response(heard, sample_rate_hz, DIAL_MAX, frequency_hz))

    waves = waves_of(control_chain(rig, None).branches)
    return emf_filters(sample_rate_hz, through, instants, waves)


def null_db(rig: Rig, filters: FilterBank, sample_rate_hz: float) -> Array | None:
    """What is left of a jack take when its own chain, un-loaded by these filters, is put back.

    Parameters
    ----------
    rig : Rig
    filters : FilterBank
        From `filters_for`.
    sample_rate_hz : float

    Returns
    -------
    ndarray, shape (4,), or None
        RMS over each of `NULL_BANDS_HZ`, in dB re the take; None for a string take.
    """
    take = take_equations(rig)
    if take is None:
        return None
    line_hz = sample_rate_hz / filters.fft_size
    lines = np.array([
        np.round(np.linspace(low, high, _NULL_LINES) / line_hz).astype(int)
        for low, high in NULL_BANDS_HZ
    ])  # fmt: skip
    hz = (lines * line_hz).ravel()
    # The second filter is the one at the samples themselves, of the first EMF.
    early = np.exp(2j * np.pi * filters.lead * hz / sample_rate_hz)
    emf = filters.spectra[1, lines.ravel()] * early
    emf /= wave_weights(waves_of(control_chain(rig, None).branches), hz)[0]
    stood = recursion_response(take, sample_rate_hz, rig.take.dial, hz)
    error = np.square(np.abs(emf * stood - 1.0)).reshape(lines.shape)
    return power_decibels(error.mean(axis=1))


def bounded(stood: ComplexArray, heard: ComplexArray) -> ComplexArray:
    """A chain's response kept from losing too much of what another passes.

    Parameters
    ----------
    stood, heard : ndarray of complex, shape (f,)
        While the recording was made, and while it is listened to.

    Returns
    -------
    ndarray of complex, shape (f,)
        H (1 + (lift / limit)^4), where lift is heard over H, each against where it
        passes best, and the limit is `LARGEST_LIFT_DB`.
    """
    passes, passed = np.abs(heard), np.abs(stood)
    lift = (passes / passes.max()) / (passed / passed.max())
    return np.asarray(stood * (1.0 + (lift / amplitude(LARGEST_LIFT_DB)) ** 4), np.complex128)


def band_limit(frequency_hz: Array, sample_rate_hz: float) -> Array:
    """Gain that ends the audio band, same shape as the frequencies.

    Notes
    -----
    A squared sine of a squared sine, so smooth at both its ends that its response
    in time is a fifth as long as a raised cosine's.
    """
    start = min(PASS_HZ, PASS_FRACTION * sample_rate_hz)
    stop = min(STOP_HZ, STOP_FRACTION * sample_rate_hz)
    travel = np.clip((frequency_hz - start) / (stop - start), 0.0, 1.0)
    risen = np.square(np.sin(0.5 * np.pi * travel))
    return np.asarray(np.square(np.cos(0.5 * np.pi * risen)), dtype=np.float64)


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
