"""How a curve cleans up, by its slope and the chain's response."""

import numpy as np
import pytest

from presolder.models.audio.curves import static_curve
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.instrument.dirt import DIRT_KINDS, Dirt, DirtKind
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.rig import Rig
from presolder.models.judging.cleanup import clean_up, tone_harmonics


def test_of_a_weak_tone_its_own_amplitude_is_left() -> None:
    """A clipper that does not clip: the first harmonic is the sine, by the curve's slope."""
    for kind in DIRT_KINDS:
        first, *others = np.abs(tone_harmonics(kind, [1e-4])[0])
        slope = np.diff(static_curve(kind, np.array([-1e-4, 1e-4])))[0] / 2e-4
        assert first == pytest.approx(1e-4 * slope, rel=1e-3)
        assert max(others) < 0.01 * first


@pytest.mark.parametrize("kind", DIRT_KINDS)
def test_the_level_falls_as_the_chain_does_once_nothing_is_clipped(
    humbucker: Rig, kind: DirtKind
) -> None:
    """And by no more while it is: a clipper compresses."""
    dirt, network = Dirt(kind, drive_db=12.0), parse_expression("470p")
    dials = np.array([10.0, 6.0, 2.0, 0.2, 0.1])
    found = clean_up(humbucker, network, dirt, dials)
    chain = chain_equations(humbucker.feeding(dirt.load), network)
    gain_db = 20 * np.log10(np.abs(transfer(chain, 330.0, dials)[:, 0]))
    steps, of_chain = np.diff(found.level_db), np.diff(gain_db)
    assert (of_chain <= steps + 0.01).all() and (steps <= 0.01).all()
    assert steps[-1] == pytest.approx(of_chain[-1], abs=0.05)
    assert found.thd[0] > 10 * found.thd[-1]
