"""How a curve cleans up, by its slope and the chain's response."""

import numpy as np
import pytest

import presolder as ps
from presolder.models.audio.static_curves import static_curve
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.instrument.dirt import DIRT_KINDS, Dirt, DirtKind
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.rig import Rig
from presolder.models.judging.tones import clean_up, falls_through, tone_harmonics


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


@pytest.mark.parametrize(
    ("distortion", "dial"),
    [
        # A tenth lies half way, by logarithms, from 0.05 at 4 to 0.2 at 5.
        ([0.01, 0.02, 0.05, 0.2, 0.4], 4.5),
        ([0.01, 0.02, 0.03, 0.04, 0.05], 6.0),
        ([0.2, 0.2, 0.2, 0.2, 0.2], None),
        # Just at it is clean.
        ([0.01, 0.02, 0.1, 0.1, 0.1], 6.0),
    ],
)
def test_where_distortion_falls_through(distortion: list[float], dial: float | None) -> None:
    dials = np.array([2.0, 3.0, 4.0, 5.0, 6.0])
    found = falls_through(dials, np.array(distortion), 0.1)
    assert found == (None if dial is None else pytest.approx(dial))


def test_distortion_is_told_in_percent() -> None:
    report = ps.cleanup("humbucker-500k", ["bare"], dirt="smooth", dials=[4.0, 8.0])
    told, (under,), (tones,) = report.plain()["designs"][0], report.played, report.figures
    assert told["played"]["distortion_percent"] == pytest.approx(100 * under.distortion, abs=1e-3)
    assert told["thd_percent"] == pytest.approx(100 * tones.thd, abs=1e-3)


def test_one_dial_has_no_steps() -> None:
    told = ps.cleanup("humbucker-500k", ["bare"], dirt="smooth", dials=[8.0]).plain()
    assert told["designs"][0]["played"]["unevenness_db"] == 0
