"""The rendered response against the analogue one, knob at rest."""

import numpy as np
import pytest
from tiers import some

from presolder.models.audio.emf import bounded
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.rig import Rig
from rendering import rendered, resting
from rigs import as_string_take

# One of each topology, and the plainest twice.
DESIGNS = short_list()

pytestmark = pytest.mark.slow

DIALS = (10.0, 8.0, 6.0, 4.0, 2.0, 0.5)


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize(
    "rig_name",
    some(
        ["humbucker-500k", "low-impedance-fuzz", "single-coil-250k", "dark-long-cable"],
        {"humbucker-500k", "low-impedance-fuzz"}.__contains__,
    ),
)
def test_rendered_impulse_has_the_analogue_response(
    rate: int, rig_name: str, rigs: dict[str, Rig]
) -> None:
    rig = as_string_take(rigs[rig_name])
    count = 1 << 16
    impulse = np.zeros(count)
    onset = 4096
    impulse[onset] = 1.0
    bins = np.fft.rfftfreq(count, 1 / rate)
    # Every 12 Hz: some 1,300 bins, far closer than any resonance is wide.
    band = (bins >= 20) & (bins <= 16_000) & (np.arange(bins.size) % 17 == 0)
    for dial in DIALS:
        outputs = rendered(impulse, rate, rig, DESIGNS, resting(dial, count / rate))[:, 0]
        spectra = np.fft.rfft(outputs)[:, band]
        for design, spectrum in zip(DESIGNS, spectra, strict=True):
            analogue = transfer(chain_equations(rig, design.network), bins[band], dial)[0]
            heard = decibels(analogue) > -90
            error_db = np.abs(decibels(spectrum) - decibels(analogue))[heard]
            assert error_db.max() < 0.1, (design.name, dial)
            # No latency: the phase agrees too, to a hundredth of a sample.
            turn = spectrum * np.exp(2j * np.pi * bins[band] * onset / rate) / analogue
            lag = np.angle(turn[heard]) / (2 * np.pi * bins[band][heard] / rate)
            assert np.abs(lag).max() < 0.02, (design.name, dial)


def test_what_was_lost_is_lifted_by_no_more_than_60_db() -> None:
    """Of h (1 + (f / h)^4) calculus has the least at h = 3^(1/4) f, where it is 4/3 of that."""
    chain = np.geomspace(1e-6, 1.0, 5000) * np.exp(1j * np.linspace(0.0, 9.0, 5000))
    kept = bounded(chain, np.ones(5000) + 0j)
    least = 1e-3 * 3**0.25 * 4 / 3
    assert np.abs(kept).min() == pytest.approx(least, rel=1e-5)
    assert np.angle(kept / chain) == pytest.approx(0.0, abs=1e-9)
    # Within a millionth where it passes 30 dB above the floor and more.
    passes = np.abs(chain) > 10**-1.5
    assert kept[passes] == pytest.approx(chain[passes], rel=1.1e-6)
    # What is lost again when it is heard need not be lifted at all, however little is left.
    assert bounded(chain, 2.0 * chain) == pytest.approx(chain, rel=1e-11)


def test_dial_zero_is_silent(humbucker: Rig) -> None:
    noise = np.random.default_rng(0).normal(size=9600)
    output = rendered(noise, 48_000, as_string_take(humbucker), DESIGNS, resting(0.0, 0.2))
    assert np.abs(output).max() < 1e-12
