"""What was rendered, beside the bare pot: by sounds made by hand, and by the model of the chain."""

import numpy as np
import pytest

import presolder as ps
from ears import ear_of
from presolder.models.audio.knob import KnobPath, steady_turn
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.hearing.change import change
from presolder.models.hearing.material import line_powers
from presolder.models.judging.beside import beside_bare, window_powers, windows
from presolder.render.files.rig_file import find_rig

RATE = 48_000


def test_louder_and_brighter_by_hand() -> None:
    """6 dB more is 6 phon or little less; 6 dB in the treble is brighter, and less of it duller."""
    plain = 1.0 / LINES_HZ
    treble = LINES_HZ > 1200
    lines = np.stack(
        [plain, 4 * plain, np.where(treble, 4, 1) * plain, np.where(treble, 0.25, 1) * plain]
    )[:, np.newaxis].repeat(2, axis=1)
    lines[3, 1] = plain
    bare, louder, bright, dull = beside_bare(lines, 0, (8.0, 4.0), 70.0)
    assert bare.louder_phon == pytest.approx([0, 0], abs=1e-9) and bare.most_unlike_at is None
    assert louder.louder_phon == pytest.approx([6, 6], rel=0.1)
    assert np.abs(louder.brighter_db).max() < 0.5
    assert 2 < bright.brighter_db[0] < 6 and dull.brighter_db[0] < -2
    assert dull.brighter_db[1] == pytest.approx(0, abs=1e-6)
    assert dull.most_unlike_at == 8.0
    assert dull.dial.tolist() == [8.0, 4.0]


def test_windows_by_hand() -> None:
    """A second of rest at 10, a second a number: half a number to either side, first time only."""
    found = {window.dial: window for window in windows(steady_turn(10.0, 0.0, 10.0, 1.0), RATE)}
    assert list(found) == [9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0]
    assert (found[8.0].start, found[8.0].stop) == (round(2.5 * RATE), round(3.5 * RATE))
    back = windows(KnobPath((0.0, 1.0, 2.0, 3.0), (8.0, 8.0, 4.0, 8.0)), RATE)
    assert {window.dial for window in back} == {8.0, 7.0, 6.0, 5.0, 4.0}
    stays = next(window for window in back if window.dial == 8.0)
    # It rests, and leaves within an eighth of a second: one stretch.
    assert (stays.start, stays.stop) == (0, round(1.125 * RATE))
    assert windows(steady_turn(10.0, 0.0, 0.5, 0.0), RATE) == ()
    long = windows(steady_turn(5.0, 5.0, 60.0, 0.0), RATE)
    assert [window.stop - window.start for window in long] == [8 * RATE]


def test_powers_of_windows_do_not_depend_on_blocks() -> None:
    noise = np.random.default_rng(2).normal(size=(2, 3 * RATE))
    wanted = windows(steady_turn(9.0, 7.0, 3.0, 0.0), RATE)
    blocks = np.split(noise, [1000, 40_000, 90_001], axis=1)
    found = window_powers(blocks, wanted, RATE)
    for window, powers in zip(wanted, found, strict=True):
        direct = line_powers(noise[0, window.start : window.stop], RATE)
        assert powers == pytest.approx(direct, rel=1e-12)


def test_a_rendered_sweep_says_what_the_response_says() -> None:
    """Over every dial of a slow sweep, of noise, whose spectrum is the same everywhere."""
    rig = find_rig("humbucker-500k")
    noise = ps.Take(np.random.default_rng(3).normal(0, 0.05, (1, 20 * RATE)), RATE)
    path = steady_turn(10.0, 0.0, 20.0, 0.0)
    names = ("bare", "series-strong", "parallel-strong")
    audio = ps.render(noise, rig, names, path)
    wanted = windows(path, RATE)
    lines = np.array([window_powers([audio[name]], wanted, RATE) for name in names])
    dials = [window.dial for window in wanted]
    found = beside_bare(lines, 0, dials, 75.0)
    ear = ear_of(rig, take=noise)
    at = np.array(dials[1:7])
    plain = ear.listen(ear.response(None, at))
    for name, one in zip(names[1:], found[1:], strict=True):
        response = ear.response(ps.designs(rig=rig)[_at(name)].network, at)
        louder = ear.listen(response).phon - plain.phon
        moved = change(ear.levels_db(response), plain)
        assert one.louder_phon[1:7] == pytest.approx(louder, abs=0.8)
        wanted_db = moved.brighter_db - moved.duller_db
        assert one.brighter_db[1:7] == pytest.approx(wanted_db, abs=0.5)


def _at(name: str) -> int:
    return [design.name for design in ps.designs()].index(name)
