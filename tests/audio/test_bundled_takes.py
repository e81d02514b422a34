"""The takes that are listened to, by numbers: attacks all the way, no silence, treble to lose."""

import numpy as np
import pytest
from scipy.signal import stft

import presolder as ps
from presolder.models.typing import Array

TAKES = ("chords", "lead", "muted")


def heard(name: str) -> tuple[Array, int]:
    take = ps.sample(name)
    return take.samples[0], take.sample_rate_hz


def share_db(audio: Array, rate: int, low_hz: float, high_hz: float) -> float:
    power = np.abs(np.fft.rfft(audio)) ** 2
    hz = np.fft.rfftfreq(audio.size, 1 / rate)
    return float(10 * np.log10(power[(hz >= low_hz) & (hz < high_hz)].sum() / power.sum()))


@pytest.mark.parametrize("name", TAKES)
def test_length_crest_and_silence(name: str) -> None:
    """8 to 10 s; peaks 14 to 24 dB over the mean, as plucked strings have; never 25 dB below it."""
    audio, rate = heard(name)
    assert 8 <= audio.size / rate <= 10
    mean_db = 10 * np.log10(np.mean(audio**2))
    assert 14 < 20 * np.log10(np.abs(audio).max()) - mean_db < 24
    tenths = audio[: audio.size // (rate // 5) * (rate // 5)].reshape(-1, rate // 5)
    assert 10 * np.log10(np.mean(tenths**2, axis=1)).min() - mean_db > -25


@pytest.mark.parametrize(("name", "apart_s"), [("chords", 0.6), ("lead", 0.6), ("muted", 0.15)])
def test_attacks_all_the_way(name: str, apart_s: float) -> None:
    """No longer than this from one rise of the treble by half to the next (spectral flux)."""
    audio, rate = heard(name)
    _, time, spectra = stft(audio, rate, nperseg=1024, noverlap=768)
    hz = np.fft.rfftfreq(1024, 1 / rate)
    treble = np.sqrt((np.abs(spectra[hz > 1500]) ** 2).sum(axis=0))
    before = np.array([treble[max(i - 12, 0) : max(i - 3, 1)].mean() for i in range(treble.size)])
    onsets = time[treble > 1.5 * before]
    assert np.diff(onsets).max() < apart_s + 0.1


@pytest.mark.parametrize("name", TAKES)
def test_there_is_treble_to_lose_and_body_to_keep(name: str) -> None:
    audio, rate = heard(name)
    assert share_db(audio, rate, 1000, 4000) > -7
    assert share_db(audio, rate, 4000, 12_000) > -18
    assert share_db(audio, rate, 60, 1000) > -7


def test_they_differ() -> None:
    """Chords have the most body, the line none below its strings, muting the fastest decay."""
    low = {name: share_db(*heard(name), 60, 200) for name in TAKES}
    assert low["lead"] < -30 < -20 < min(low["chords"], low["muted"])
