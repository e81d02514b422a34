"""The rendered response against the analogue one, knob at rest."""

import numpy as np
import pytest

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.designs import short_list
from presolder.models.instrument.rig import Rig
from rendering import rendered, resting
from rigs import as_string_take

# One of each topology, and the plainest twice.
DESIGNS = short_list(Pot(500e3))

pytestmark = pytest.mark.slow

DIALS = (10.0, 8.0, 6.0, 4.0, 2.0, 0.5)


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize(
    "rig_name", ["humbucker-500k", "single-coil-250k", "dark-long-cable", "low-impedance-fuzz"]
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
    # Every seventh bin: some 3,000, far closer than any resonance is wide.
    band = (bins >= 20) & (bins <= 16_000) & (np.arange(bins.size) % 7 == 0)
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


def test_dial_zero_is_silent(humbucker: Rig) -> None:
    noise = np.random.default_rng(0).normal(size=9600)
    output = rendered(noise, 48_000, as_string_take(humbucker), DESIGNS, resting(0.0, 0.2))
    assert np.abs(output).max() < 1e-12
