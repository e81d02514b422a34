"""The moving knob's spectral purity."""

import numpy as np
import pytest
import scipy.integrate
import scipy.signal

from presolder.models.audio.knob import steady_turn
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.rig import Rig
from rendering import rendered
from rigs import as_string_take

# One of each topology, and the plainest twice.
DESIGNS = short_list()

pytestmark = pytest.mark.slow


def test_swept_tone_stays_pure(humbucker: Rig) -> None:
    """A steady 1 kHz tone shows nothing outside 60 Hz of itself above -90 dB."""
    rate = 48_000
    path = steady_turn(10.0, 0.0, 8.0, 1.0)
    tone = np.sin(2 * np.pi * 1000 * np.arange(10 * rate) / rate)
    ramp = np.minimum(1.0, np.arange(tone.size) / (0.2 * rate))
    tone *= np.sin(0.5 * np.pi * np.minimum(ramp, ramp[::-1])) ** 2
    outputs = rendered(tone, rate, as_string_take(humbucker), DESIGNS, path)[:, 0]
    window = scipy.signal.windows.kaiser(tone.size, 20)
    spectra = np.abs(np.fft.rfft(outputs * window))
    frequency_hz = np.fft.rfftfreq(tone.size, 1 / rate)
    outside = np.abs(frequency_hz - 1000) > 60
    for design, spectrum in zip(DESIGNS, spectra, strict=True):
        worst_db = 20 * np.log10(spectrum[outside].max() / spectrum.max())
        assert worst_db < -90, design.name
