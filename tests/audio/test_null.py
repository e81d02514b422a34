"""With nothing changed, a jack take must come out as it went in."""

import numpy as np
import pytest

from presolder.models.instrument.controls import Pot
from presolder.models.instrument.designs import short_list
from presolder.models.instrument.rig import Rig
from presolder.render.files.audio import Recording
from presolder.render.files.rigs import find_rig
from rendering import band_rms, rendered, resting, rms
from rigs import as_string_take

# One of each topology, and the plainest twice.
DESIGNS = short_list(Pot(500e3))


@pytest.mark.parametrize("name", ["chords", "phrase"])
def test_every_design_nulls_against_the_take_at_dial_ten(
    name: str, takes: dict[str, Recording], humbucker: Rig
) -> None:
    take = takes[name]
    path = resting(10.0, take.duration_s)
    outputs = rendered(take.samples, take.sample_rate_hz, humbucker, DESIGNS, path)
    assert outputs.shape == (len(DESIGNS), *take.samples.shape)
    for design, output in zip(DESIGNS, outputs, strict=True):
        residual = band_rms(output[0] - take.samples[0], take.sample_rate_hz, 50, 16_000)
        null_db = 20 * np.log10(residual / rms(take.samples))
        assert null_db < -80, (design.name, null_db)


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_a_piezo_nulls_too(rate: int) -> None:
    """Its chain passes nothing at 0 Hz, so that its inverse would never die away."""
    noise = np.random.default_rng(0).normal(0, 0.1, (1, 4 * rate)) * np.hanning(4 * rate)
    output = rendered(noise, rate, find_rig("piezo-buffered"), DESIGNS[:1], resting(10.0, 4.0))[0]
    left, whole = (band_rms(audio, rate, 50, 2000) for audio in (output[0] - noise[0], noise[0]))
    # Measured -103 dB; -16 dB by the filters of other pickups.
    assert 20 * np.log10(left / whole) < -98


@pytest.mark.parametrize("rate", [44_100, 192_000])
def test_take_made_at_other_settings_is_unloaded_from_them(rate: int, humbucker: Rig) -> None:
    """Render a string take at dial 6, declare it a dial-6 jack take, and get the EMF back."""
    from dataclasses import replace

    from presolder.models.instrument.rig import Take

    noise = np.random.default_rng(3).normal(size=rate)
    low_pass = np.fft.rfftfreq(noise.size, 1 / rate) < 12_000
    emf = np.fft.irfft(np.fft.rfft(noise) * low_pass, noise.size)
    emf[: rate // 10] = emf[-rate // 10 :] = 0.0
    design = (DESIGNS[3],)
    jack = rendered(emf, rate, as_string_take(humbucker), design, resting(6.0, 1.0))[0]
    again = replace(humbucker, take=Take(dial=6.0, network=design[0].network))
    result = rendered(jack, rate, again, design, resting(6.0, 1.0))[0]
    assert 20 * np.log10(rms(result - jack) / rms(jack)) < -80
