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

from presolder.models.audio.overlap import FilterBank, filter_bank, filtered
from presolder.models.circuit.assembly import Descriptor, waves_of
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.equations import take_equations
from presolder.models.circuit.recursion import collocation_nodes
from presolder.models.circuit.response import transfer
from presolder.models.circuit.wave import wave_weights
from presolder.models.decibels import amplitude
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
# Length of the inverse's impulse response. The slowest decay in it is the tone
# capacitor discharging through the tone pot, 11 ms with usual parts.
_MEMORY_SECONDS = 0.37
_LEAD_FRACTION = 1 / 8


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
    taps = 1 << int(np.ceil(np.log2(_MEMORY_SECONDS * sample_rate_hz)))
    lead = int(taps * _LEAD_FRACTION)
    frequency_hz = np.linspace(0.0, 0.5 * sample_rate_hz, taps // 2 + 1)
    wanted = band_limit(frequency_hz, sample_rate_hz).astype(np.complex128)
    if take is not None:
        # DC itself is avoided: nodes between two capacitors have no voltage there.
        chain = transfer(take, np.maximum(frequency_hz, 1e-3), dial, from_string=True)[0]
        chain[0] = chain[0].real
        wanted /= bounded(chain)
    elif recorded_at is not None:
        wanted /= wave_weights((recorded_at,), frequency_hz)[0]
    wanted_at = collocation_nodes() if instants is None else instants
    advance_samples = wanted_at[:, None] - 1.0
    turn = np.exp(2j * np.pi * advance_samples * (frequency_hz / sample_rate_hz))
    own = wave_weights(wave_seconds, frequency_hz)[:, None] * wanted
    impulse = np.roll(np.fft.irfft(own * turn, taps), lead, axis=-1)
    return filter_bank(impulse.reshape(-1, taps), lead)


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
        how the recording was cut into blocks.
    """
    return filtered(_with_onset(blocks, filters.lead), filters)


def _with_onset(blocks: Iterable[Array], lead: int) -> Iterator[Array]:
    started = False
    for block in blocks:
        if not started:
            yield np.zeros((block.shape[0], lead))
            started = True
        yield block
