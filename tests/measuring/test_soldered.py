"""Where the sheet has its ohmmeter readings taken."""

import numpy as np
import pytest

from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.taper import fraction_below_wiper
from presolder.models.measuring.soldered import probes, works


def test_readings_are_taken_where_the_part_shows_most(humbucker: Rig) -> None:
    """Of 0 and 5, where more is beside it: the track above the wiper, and pickup and track below it."""
    (work,) = works(humbucker)
    (across,) = probes(work, parse_expression("100k"))
    track, winding = 500e3, humbucker.coil.resistance_ohms
    beside = [
        1 / (1 / max((1 - below) * track, 1e-3) + 1 / (below * track + winding))
        for below in fraction_below_wiper(humbucker.volume.taper, np.array([0.0, 5.0]))
    ]
    assert across.without_ohms >= max(beside) * 0.999
    assert across.ohms == pytest.approx(1 / (1 / across.without_ohms + 1 / 100e3), rel=1e-6)
    first, second = probes(work, parse_expression("91k + 220k"))
    assert np.isinf(first.without_ohms) and first.ohms == pytest.approx(91e3)
    # A capacitor is open to a meter, and shows nowhere.
    (silent,) = probes(work, parse_expression("1n"))
    assert silent.ohms == silent.without_ohms
    gang, _ = probes(work, parse_expression("gang(500k, audio) || 1n"))
    assert gang.ohms < gang.without_ohms
    assert second.without_ohms > second.ohms
