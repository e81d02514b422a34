"""Round the chain: a loudspeaker's voicing, and the hum and hiss of a real set-up."""

from collections.abc import Iterable, Iterator

import numpy as np

from presolder.models.audio.overlap import FilterBank, filter_bank, filtered
from presolder.models.errors import InputError
from presolder.models.typing import Array

LONGEST_IMPULSE_SECONDS = 10.0
MAINS_HZ = 50.0
QUIETEST_HUM_DB, LOUDEST_HUM_DB = -140.0, 0.0
_SEED = 50
_NOISE_SECONDS = 60.0
_PIECE = 1 << 16
# Shares of the noise power: mains fundamental, its first harmonics, and hiss.
_HUM_SHARES = ((1, 0.5), (2, 0.3), (3, 0.1))
_HISS_SHARE = 0.1


def plain_speaker(sample_rate_hz: float) -> FilterBank:
    """A generic guitar loudspeaker: band-limited with a lift before the top falls off.

    Parameters
    ----------
    sample_rate_hz : float
        Sample rate.

    Returns
    -------
    FilterBank

    Notes
    -----
    Second-order high-pass at 85 Hz, a 5 dB peak at 2.6 kHz, fourth-order
    low-pass at 4.8 kHz; invented, no measured product. The minimum-phase
    impulse response comes from the magnitude by way of the cepstrum
    (Oppenheim and Schafer, Discrete-Time Signal Processing, chapter 13).
    """
    size = 1 << int(np.ceil(np.log2(0.34 * sample_rate_hz)))
    s = 1j * np.maximum(np.abs(np.fft.fftfreq(size, 1.0 / sample_rate_hz)), 1e-3)
    high_pass = (s / 85) ** 2 / ((s / 85) ** 2 + 1.2 * s / 85 + 1)
    peak = ((s / 2600) ** 2 + 1.25 * s / 2600 + 1) / ((s / 2600) ** 2 + 0.7 * s / 2600 + 1)
    low_pass = 1 / (1 + np.abs(s / 4800) ** 8) ** 0.5
    # The logarithm below needs a floor where the high-pass has its zero.
    magnitude = np.maximum(np.abs(high_pass * peak) * low_pass, 1e-8)
    cepstrum = np.fft.ifft(np.log(magnitude)).real
    cepstrum[1 : size // 2] *= 2.0
    cepstrum[size // 2 + 1 :] = 0.0
    impulse = np.fft.ifft(np.exp(np.fft.fft(cepstrum))).real
    return filter_bank(impulse[np.newaxis, : size // 2])


def measured_speaker(impulse: Array, impulse_rate_hz: int, sample_rate_hz: int) -> FilterBank:
    """A loudspeaker from the user's own impulse response.

    Parameters
    ----------
    impulse : ndarray, shape (n,)
        The response; its level does not matter.
    impulse_rate_hz, sample_rate_hz : int
        Its sample rate, and the audio's.

    Returns
    -------
    FilterBank
        Scaled to a gain of 1 at its loudest frequency.

    Raises
    ------
    InputError
        If it is empty, silent, not finite, or longer than 10 s.
    """
    if impulse.size == 0:
        raise InputError("the impulse response is empty")
    if impulse.size > LONGEST_IMPULSE_SECONDS * impulse_rate_hz:
        raise InputError(
            f"the impulse response is too long; at most {LONGEST_IMPULSE_SECONDS:g} s is accepted"
        )
    if not np.all(np.isfinite(impulse)):
        raise InputError("the impulse response holds samples that are not finite numbers")
    if not np.any(impulse):
        raise InputError("the impulse response is silent")
    if impulse_rate_hz != sample_rate_hz:
        # Here, so that only loudspeakers wait for the library.
        from scipy.signal import resample_poly  # noqa: PLC0415

        divisor = int(np.gcd(impulse_rate_hz, sample_rate_hz))
        impulse = np.asarray(
            resample_poly(impulse, sample_rate_hz // divisor, impulse_rate_hz // divisor)
        )
    return filter_bank((impulse / np.abs(np.fft.rfft(impulse)).max())[np.newaxis])


def voiced(blocks: Iterable[Array], speaker: FilterBank) -> Iterator[Array]:
    """Stream audio, shape (channels, n) a block, through a loudspeaker's response."""
    for block in filtered(blocks, speaker):
        yield block[:, 0]


def require_hum(hum_db: float | None) -> None:
    """Refuse a hum level that is not between silence and the take's own level.

    Raises
    ------
    InputError
        Naming the value and the accepted range.
    """
    if hum_db is not None and not QUIETEST_HUM_DB <= hum_db <= LOUDEST_HUM_DB:
        raise InputError(f"{hum_db:g} must lie between {QUIETEST_HUM_DB:g} and {LOUDEST_HUM_DB:g}")


def hum_and_hiss(sample_count: int, sample_rate_hz: float) -> Array:
    """What a coil picks up: mains hum with its first harmonics, and hiss.

    Parameters
    ----------
    sample_count : int
    sample_rate_hz : float

    Returns
    -------
    ndarray, shape (sample_count,)
        RMS of about 1; the same each time.
    """
    noise = np.random.default_rng(_SEED).normal(size=sample_count)
    noise *= np.sqrt(_HISS_SHARE)
    # In pieces, or the phases would take as much memory again several times over.
    for first in range(0, sample_count, _PIECE):
        piece = noise[first : first + _PIECE]
        phase = 2 * np.pi * MAINS_HZ / sample_rate_hz * np.arange(first, first + piece.size)
        piece += sum(np.sqrt(2 * share) * np.sin(order * phase) for order, share in _HUM_SHARES)
    return noise


def noise_pieces(sample_count: int, sample_rate_hz: float) -> Iterator[Array]:
    """Stream `hum_and_hiss`, shape (up to 65,536,) a piece.

    It repeats after a minute, which nobody hears.
    """
    once = hum_and_hiss(min(sample_count, round(_NOISE_SECONDS * sample_rate_hz)), sample_rate_hz)
    for first in range(0, sample_count, _PIECE):
        yield once.take(range(first, min(first + _PIECE, sample_count)), mode="wrap")
