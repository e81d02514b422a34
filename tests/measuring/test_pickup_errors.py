"""The errors that a pickup's values are stated with, and real pickups."""

import numpy as np
import pytest

from coils import ADDED, METER, measured, random_form
from presolder.models.instrument.controls import Load
from presolder.models.measuring.coil import Response
from presolder.models.measuring.coil_fit import coil_from_responses
from takes import ROOT


@pytest.mark.slow
@pytest.mark.parametrize("count", [30, pytest.param(96, marks=pytest.mark.thorough)])
def test_stated_errors_hold_the_truth_19_times_of_20(count: int) -> None:
    """Noise of 0.1 and 0.5 dB, ohmmeter and added parts off by a percent, all forms of coil."""
    inside, simple = [], 0
    for index in range(count):
        random = np.random.default_rng(index)
        truth = random_form(random, index % 3)
        noise_db = (0.1, 0.5)[index % 2]
        responses = measured(truth, random, noise_db, 0.01)
        coil = coil_from_responses(
            truth.resistance_ohms * (1 + random.normal(0, 0.01)), responses, METER
        )
        found = coil.pickup
        off = np.abs(
            np.log(
                [
                    found.inductance_henries / truth.inductance_henries,
                    found.capacitance_farads / truth.capacitance_farads,
                ]
            )
        )
        inside.append(off <= np.log1p([coil.inductance_error, coil.capacitance_error]))
        simple += index % 3 == 1 and found.leakage_henries == 0
        assert coil.misfit_db == pytest.approx(noise_db * np.sqrt(2), rel=0.35)
    share = np.mean(inside, axis=0)
    # Two standard errors about 0.95: of 96 it is 0.044.
    assert np.all(share > 0.95 - 2 * np.sqrt(0.95 * 0.05 / count))
    assert simple >= 0.28 * count, "leakage is found where there is none"


@pytest.mark.slow
@pytest.mark.parametrize("step", [2, pytest.param(1, marks=pytest.mark.thorough)])
def test_real_pickups(step: int) -> None:
    """Twenty-three, or every other, measured with a network analyser; see tests/data/README.md."""
    rows = np.loadtxt(ROOT / "tests/data/measured_pickups.csv", delimiter=",", skiprows=1)
    misfits = []
    for number in np.unique(rows[:, 0])[::step]:
        own = rows[(rows[:, 0] == number) & (rows[:, 2] >= 100) & (rows[:, 2] <= 10_000)]
        hz, bare, loaded = own[:, 2], own[:, 3], own[:, 5]
        responses = (Response(hz, bare), Response(hz, loaded, ADDED, 200e3))
        misfits.append(coil_from_responses(float(own[0, 1]), responses, Load()).misfit_db)
    assert len(misfits) == (23 if step == 1 else 12)
    assert np.median(misfits) <= 0.2
    assert np.percentile(misfits, 90) <= 0.6
