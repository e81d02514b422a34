"""The loops over samples, built in C, against the same in plain Python and in numba."""

import importlib.util
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import soundfile

from presolder.models import compiled, loops
from presolder.models.audio.driven import Driven
from presolder.models.circuit.newton import WORK_ROWS
from presolder.models.circuit.steps import PAST
from presolder.models.instrument.dirt import load_of
from presolder.models.instrument.network import Design
from presolder.models.instrument.stage import Stage
from presolder.render.files.rig_file import find_rig
from takes import SAMPLES

Plain = Callable[[str], ModuleType]
RANDOM = np.random.default_rng(16)


@pytest.fixture
def plain(monkeypatch: pytest.MonkeyPatch) -> Plain:
    """A module as it is where nothing compiles its loops."""

    def load(name: str) -> ModuleType:
        monkeypatch.setattr(compiled, "_BUILT", None)
        monkeypatch.setattr(compiled, "find_spec", lambda _: None)
        spec = importlib.util.find_spec(name)
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module

    return load


def test_they_are_built_here() -> None:
    assert compiled.origin() == "built"
    from presolder.models.audio.kernels import step_states

    assert step_states is loops.step_states


def knob(rows: np.ndarray) -> np.ndarray:
    """Turning both ways, jumping, at rest between rows and on one, and at both ends."""
    return np.concatenate(
        [
            np.linspace(10, 0, 37), np.full(9, 3.3), np.full(4, rows[2]), [0.0, 10.0, 10.0, 0.0],
            RANDOM.uniform(0, 10, 40), np.linspace(4, 4.2, 20), rows,
        ]
    )  # fmt: skip


@pytest.mark.parametrize("states", [0, 1, 3, 4, 7, 8, 11, 13, 15, 21])
def test_a_circuit_moving_with_the_knob(plain: Plain, states: int) -> None:
    """Every width that the compiler was given, and one beyond; blocks of any length."""
    rows = np.array([0.0, 0.4, 1.7, 5.0, 5.1, 9.0, 10.0])
    table = RANDOM.normal(size=(rows.size, states + 1, states + 4)) / (states + 4)
    dial = knob(rows)
    # A part of a larger array, whose rows lie apart.
    emf = RANDOM.normal(size=(4, dial.size + 7))[:, 3:-4]
    start = RANDOM.normal(size=states)
    slow = plain("presolder.models.audio.kernels").step_states
    wanted, last = np.empty(dial.size), start.copy()
    slow(table, rows, dial, emf, last, wanted)
    got, own = np.empty(dial.size), start.copy()
    for first, end in ((0, 1), (1, 50), (50, 50), (50, dial.size)):
        part = slice(first, end)
        loops.step_states(table, rows, dial[part], emf[:, part], own, got[part])
    assert np.allclose(got, wanted, rtol=1e-12, atol=1e-13)
    assert np.allclose(own, last, rtol=1e-12, atol=1e-13)


def test_sections(plain: Plain) -> None:
    signal = RANDOM.normal(size=301)
    sections = np.array([[0.5, 0.2, 0.1, 1.0, -0.9, 0.3], [1.0, -2.0, 1.0, 1.0, 0.4, 0.1]])
    memories, outputs = np.zeros((2, 2, 2)), np.empty((2, 301))
    slow = plain("presolder.models.audio.kernels").filter_sections
    slow(sections, memories[0], signal, outputs[0])
    loops.filter_sections(sections, memories[1], signal, outputs[1])
    assert np.allclose(outputs[1], outputs[0], rtol=1e-12, atol=1e-13)
    assert np.allclose(memories[1], memories[0], rtol=1e-12, atol=1e-13)


@pytest.mark.parametrize(("instants", "samples"), [(1, 3), (4, 64), (9, 83)])
def test_short_sums(plain: Plain, instants: int, samples: int) -> None:
    """Against correlation by numpy, and the loop in Python."""
    signals = RANDOM.normal(size=(2, samples + 20))[:, 4:-4]
    kernels = RANDOM.normal(size=(instants, 2, 13))
    output = np.empty((2, instants, samples + 5))[..., 2:-3]
    loops.combine(signals, kernels, output[0])
    plain("presolder.models.audio.kernels").combine(signals, kernels, output[1])
    wanted = [
        sum(np.correlate(row, weights, "valid") for row, weights in zip(signals, one, strict=True))
        for one in kernels
    ]
    assert np.allclose(output[0], wanted, rtol=1e-12, atol=1e-13)
    assert np.allclose(output[1], wanted, rtol=1e-12, atol=1e-13)


def test_a_curve_averaged(plain: Plain) -> None:
    """Between the nodes and beyond them, along lines long and short."""
    nodes = np.linspace(-1.5, 1.5, 31)
    curves = np.array([np.tanh(nodes), np.log(np.cosh(nodes)), 0.2 * nodes**3])
    signal = np.concatenate(
        [RANDOM.uniform(-3, 3, 80), np.linspace(-0.1, 0.1, 50), [1.5, -1.5, 1.5]]
    )
    outputs = np.empty((2, signal.size))
    plain("presolder.models.audio.shaper").shape_averaged(
        curves, -1.5, 0.1, 0.02, signal, outputs[0]
    )
    loops.shape_averaged(curves, -1.5, 0.1, 0.02, signal, outputs[1])
    assert np.allclose(outputs[1], outputs[0], rtol=1e-11, atol=1e-12)


@pytest.mark.parametrize("kind", ["germanium-fuzz", "treble-booster", "diode-clipper"])
def test_circuits_with_junctions(plain: Plain, kind: Any) -> None:
    """Two and four junctions, struck so hard that Newton's method needs its guard."""
    stage = Stage(kind)
    rig = find_rig("humbucker-500k").feeding(load_of(stage))
    driven = Driven(rig, (Design("bare", None),), 48_000, 1.0)
    steps, fine = driven.steps[0], driven.oversampling
    dial = np.concatenate([np.linspace(10, 2, 30), np.full(10, 2.0)])
    emf = np.zeros((fine, 40))
    emf[:, 5:] = 8.0 * RANDOM.uniform(-1, 1, size=(fine, 35))
    rest = np.array([steps.rest_volts, steps.rest_currents])
    newton = plain("presolder.models.circuit.newton")
    devices = plain("presolder.models.audio.devices")
    devices.solve_guarded = newton.solve_guarded
    outputs = []
    for step in (devices.step_devices, loops.step_devices):
        past = np.zeros((3, steps.state_count))
        work, output = np.tile(steps.rest_volts, (WORK_ROWS, 1)), np.empty(40 * fine)
        failed = step(
            (0,) * steps.junction_count, steps.linear, steps.by_columns, steps.dials, steps.kinds,
            rest, np.array(PAST), dial, emf, past, work, output,
        )  # fmt: skip
        assert failed == -1
        outputs.append(np.concatenate([output, past.ravel()]))
    assert np.ptp(outputs[0]) > 0.1
    # Solved to 20 microvolts each, by either.
    assert np.abs(outputs[1] - outputs[0]).max() < 1e-6 * np.abs(outputs[0]).max()


def test_a_step_without_a_solution_is_told() -> None:
    kinds = np.array([[1e-12, 1e-12], [40.0, 40.0], [0.6, 0.6]])
    work, square = np.zeros((WORK_ROWS, 2)), np.zeros((2, 2, 2))
    work[1] = np.nan
    assert loops.solve_guarded((0, 0), kinds, work, square) is False


def good() -> dict[str, list[Any]]:
    """Arguments that each takes."""
    return {
        "step_states": [
            np.zeros((2, 2, 5)), np.array([0.0, 10.0]), np.zeros(3), np.zeros((4, 3)),
            np.zeros(1), np.zeros(3),
        ],
        "filter_sections": [np.zeros((1, 6)), np.zeros((1, 2)), np.zeros(3), np.zeros(3)],
        "combine": [np.zeros((2, 7)), np.zeros((4, 2, 5)), np.zeros((4, 3))],
        "shape_averaged": [np.zeros((3, 4)), 0.0, 1.0, 0.1, np.zeros(3), np.zeros(3)],
        "solve_guarded": [(0, 0), np.ones((3, 2)), np.zeros((9, 2)), np.zeros((2, 2, 2))],
        "step_devices": [
            (0, 0), (0,) * 16, np.zeros((2, 18, 20)), np.array([0.0, 10.0]), np.ones((3, 2)),
            np.zeros((2, 2)), np.zeros(3), np.zeros(4), np.zeros((2, 4)), np.zeros((3, 5)),
            np.zeros((9, 2)), np.zeros(8),
        ],
    }  # fmt: skip


@pytest.mark.parametrize("name", list(good()))
def test_wrong_arguments_are_refused(name: str) -> None:
    """Whatever is wrong with an argument, an exception, and the next call works."""
    loop = getattr(loops, name)
    for place, right in enumerate(good()[name]):
        wrong: list[Any] = ["text", None]
        if isinstance(right, np.ndarray):
            longer = np.zeros([size + 1 for size in right.shape])
            wrong += [
                right.astype(np.float32), right.astype(int), right[np.newaxis],
                longer, np.repeat(right, 2, axis=-1)[..., ::2],
            ]  # fmt: skip
        for other in wrong:
            given = good()[name]
            if isinstance(other, np.ndarray) and other.size < 2:
                continue
            given[place] = other
            with pytest.raises((TypeError, ValueError, BufferError)):
                loop(*given)
    with pytest.raises(TypeError, match="arguments are wanted"):
        loop(*good()[name], 1)
    written = good()[name]
    written[-1].flags.writeable = False
    with pytest.raises((ValueError, BufferError)):
        loop(*written)
    loop(*good()[name])


# What an installation without the built loops does; the rest of the command line follows.
WITHOUT = """
import sys
for name in {names}:
    sys.modules[name] = None
from presolder.render.start import main
main()
"""


@pytest.mark.slow
def test_without_a_compiler_and_without_numba(tmp_path: Path) -> None:
    """Plain Python: one line says that it is slow, and the sound is the same."""
    turn = ["--travel", "0.1", "--rest", "0", "--rig", "humbucker-500k", "--design", "cap"]
    commands = {
        "plain": ["-c", WITHOUT.format(names=("presolder.models.loops", "numba"))],
        "built": ["-m", "presolder.render"],
    }
    heard = []
    for name, start in commands.items():
        command = [sys.executable, *start, "render", SAMPLES / "phrase.flac", *turn]
        done = subprocess.run(
            [*command, "--out", tmp_path / name], capture_output=True, text=True, check=True
        )
        told = done.stderr.splitlines()
        assert len(told) == (1 if name == "plain" else 0)
        assert all("not compiled" in line and len(line) < 300 for line in told)
        heard.append(soundfile.read(tmp_path / name / "sweep" / "cap.wav", dtype="int32")[0] >> 8)
    # Steps of 24 bits.
    assert np.abs(heard[0] - heard[1]).max() <= 1
