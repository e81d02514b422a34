"""Whether a bypass is needed."""

import json

import numpy as np
import pytest

from presolder.models.instrument.controls import Load, Pickup, Pot
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.taper import Taper
from presolder.models.judging.need import PLAYING, need, treble_lost
from presolder.render.files.rigs import built_in_rigs
from rigs import single
from running import in_process, presolder

DIALS = np.array([10.0, 5.0, 2.0])


def test_always_full_never_needs_one(rigs: dict[str, Rig]) -> None:
    for rig in rigs.values():
        result = need(rig, "full", DIALS)
        assert result.verdict == "no"
        assert np.abs(result.lost_db[0]).max() == 0.0


def test_loss_of_a_bare_pot_by_hand() -> None:
    """With an ideal source the pot and cable are a first-order low-pass.

    Its corner is 1 / (2 pi C R (1 - a) a) for a track split at a: at dial 5 of a
    linear 500k pot into 600 pF, 125k and 2122 Hz.
    """
    rig = single(Pickup(1e-2, 1e-6), Pot(500e3, Taper("linear")), None, 600e-12, Load())
    corner = 1 / (2 * np.pi * 125e3 * 600e-12)
    frequency = np.array([500.0, 2000.0, 3500.0, 5000.0])
    fall_db = 10 * np.log10(1 + (frequency / corner) ** 2)
    assert treble_lost(rig, np.array([5.0]))[0] == pytest.approx(fall_db[1:] - fall_db[0], abs=1e-3)
    result = need(rig, "cleans-up-dirt", DIALS)
    assert result.verdict == "yes"
    assert np.isnan(result.resonance_hz).all()


def test_resonance_of_coil_and_cable_by_hand() -> None:
    rig = single(Pickup(6e3, 3.0), Pot(1e7), None, 500e-12, Load())
    result = need(rig, "rolls-back", np.array([10.0]))
    assert result.resonance_hz[0] == pytest.approx(
        1 / (2 * np.pi * np.sqrt(3.0 * 500e-12)), rel=0.01
    )
    assert result.resonance_db[0] > 15


@pytest.mark.parametrize("playing", PLAYING)
def test_every_rig_and_way_of_playing(playing: str) -> None:
    for name in built_in_rigs():
        words = in_process("need", "--rig", name, "--plays", playing)
        result = json.loads(in_process("need", "--rig", name, "--plays", playing, "--json"))
        assert set(result) == {"rig", "plays", "needed", "worst_lost_db", "dials"}
        assert words.lower().startswith(result["needed"])
        assert len(result["dials"]) == 5


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--plays", "loud"], "'loud' is not one of"),
        (["--plays", "full", "--dial", "0"], "must be above 0"),
        (["--plays", "full", "--dial", "12"], "must lie between 0 and 10"),
    ],
)
def test_nonsense_is_refused(options: list[str], message: str) -> None:
    result = presolder("need", *options)
    assert result.returncode == 2
    assert message in result.stderr
    assert result.stderr.count("\n") == 1
