"""With nothing changed, a jack take must come out as it went in."""

from dataclasses import replace

import numpy as np
import pytest
from nulls import (
    BARE,
    LIMIT_DB,
    NOISE_LIMIT_DB,
    at_their_takes,
    band,
    bundled,
    noise,
    worst_null_db,
)

from presolder.models.audio.emf import NULL_BANDS_HZ
from presolder.models.audio.renderer import Renderer
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.rig import Capture, Rig
from presolder.render.files.rig_file import built_in_rigs, find_rig
from presolder.render.files.take import Take
from random_circuits import random_rig
from rendering import rendered, resting, rms
from rigs import as_string_take

# One of each topology, and the plainest twice.
DESIGNS = short_list()


@pytest.mark.slow
def test_every_built_in_rig_nulls_at_ten() -> None:
    """Noise, by band and by half second; of takes the validation page has the rows."""
    assert {name for name, _ in at_their_takes()} == set(built_in_rigs()) - {"low-impedance-fuzz"}
    for name, rig in at_their_takes():
        assert worst_null_db(rig, noise(48_000), 48_000) <= NOISE_LIMIT_DB, name


@pytest.mark.slow
@pytest.mark.parametrize("rate", [44_100, 96_000, 192_000])
@pytest.mark.parametrize("name", ["humbucker-500k", "piezo-buffered"])
def test_at_other_rates_too(name: str, rate: int) -> None:
    """A piezo's chain passes nothing at 0 Hz, so that its inverse would never die away."""
    assert worst_null_db(find_rig(name), noise(rate, 2.0), rate) <= NOISE_LIMIT_DB


@pytest.mark.slow
@pytest.mark.parametrize("count", [17, pytest.param(100, marks=pytest.mark.thorough)])
def test_random_rigs_null_at_ten(count: int) -> None:
    """The seventeenth's tone control gives back its charge for longest."""
    random = np.random.default_rng(28)
    takes = [(noise(48_000), 48_000), *(bundled().values() if count > 17 else [])]
    for index in range(count):
        rig = random_rig(random, index)
        for take, rate in takes:
            assert worst_null_db(rig, take, rate) <= LIMIT_DB, (index, rig)


def test_every_design_nulls(takes: dict[str, Take], humbucker: Rig) -> None:
    """At 10 all of them are the same circuit."""
    take = takes["phrase"]
    path = resting(10.0, take.duration_s)
    outputs = rendered(take.samples, take.sample_rate_hz, humbucker, DESIGNS, path)
    assert outputs.shape == (len(DESIGNS), *take.samples.shape)
    left = band(outputs[:, 0].mean(axis=0) - take.samples[0], take.sample_rate_hz, 50, 16_000)
    assert 20 * np.log10(left / band(take.samples[0], take.sample_rate_hz, 50, 16_000)) < LIMIT_DB
    assert np.abs(outputs - outputs[0]).max() < 1e-12


def test_what_cannot_be_undone_is_told_of(humbucker: Rig) -> None:
    """A take made with 470 nF for a tone control, at 0: its treble, heard with all open, is lost."""
    first, rate = humbucker.first, 48_000
    assert first.tone is not None
    shut = replace(first, tone=replace(first.tone, dial=0.0, capacitance_farads=470e-9))
    stood = Capture(rig=replace(humbucker, channels=(shut,), take=Capture("string")))
    rig = replace(humbucker, take=stood)
    told = Renderer(rig, (BARE,), rate).null_db
    assert told is not None
    # Once to the EMF and on through the open guitar, and once back from there to the shut one.
    path = resting(10.0, 3.0)
    # Without a beginning, whose lifted treble would spill over.
    take = noise(rate) * np.kaiser(3 * rate, 20.0)
    through_open = rendered(take, rate, rig, (BARE,), path)[0]
    back = replace(humbucker, channels=(shut,), take=Capture(rig=as_string_take(humbucker)))
    again = rendered(through_open, rate, back, (BARE,), path)[0]
    for edges, said in zip(NULL_BANDS_HZ, told, strict=True):
        left_db = 20 * np.log10(
            band(again[0] - take[0], rate, *edges) / band(take[0], rate, *edges)
        )
        assert said == pytest.approx(left_db, abs=1.5) or max(said, left_db) < LIMIT_DB, edges
    assert told.max() > -80
    clean = Renderer(humbucker, (BARE,), rate).null_db
    assert clean is not None
    assert clean.max() < LIMIT_DB


@pytest.mark.parametrize("rate", [44_100, 192_000])
def test_take_made_at_other_settings_is_unloaded_from_them(rate: int, humbucker: Rig) -> None:
    """Render a string take at dial 6, declare it a dial-6 jack take, and get the EMF back."""
    noise = np.random.default_rng(3).normal(size=rate)
    low_pass = np.fft.rfftfreq(noise.size, 1 / rate) < 12_000
    emf = np.fft.irfft(np.fft.rfft(noise) * low_pass, noise.size)
    emf[: rate // 10] = emf[-rate // 10 :] = 0.0
    design = (DESIGNS[3],)
    jack = rendered(emf, rate, as_string_take(humbucker), design, resting(6.0, 1.0))[0]
    again = replace(humbucker, take=Capture(dial=6.0, network=design[0].network))
    result = rendered(jack, rate, again, design, resting(6.0, 1.0))[0]
    assert 20 * np.log10(rms(result - jack) / rms(jack)) < -80
