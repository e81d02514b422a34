"""The core, built and as WebAssembly, against scipy, numpy and quadrature."""

import hashlib
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from scipy.integrate import quad
from scipy.optimize import root
from scipy.signal import sosfilt

from presolder.models import core
from presolder.models.audio.driven import Driven, at_rest
from presolder.models.circuit.steps import PAST, Steps
from presolder.models.core import binding
from presolder.models.core.binding import Call
from presolder.models.instrument.dirt import load_of
from presolder.models.instrument.network import Design
from presolder.models.instrument.pedal import read_pedal
from presolder.models.instrument.stage import Stage
from presolder.models.typing import Array
from presolder.render.files.rig_file import find_rig
from running import program_at
from takes import PROGRAMS, SAMPLES

RANDOM = np.random.default_rng(16)


@pytest.fixture(scope="module")
def portable() -> Call:
    return binding._portable()


@pytest.fixture(params=["built", "WebAssembly"])
def _both(request: pytest.FixtureRequest, portable: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.param == "WebAssembly":
        monkeypatch.setattr(core, "loaded", lambda: portable)


both = pytest.mark.usefixtures("_both")


def test_they_are_built_here() -> None:
    assert core.origin() == "built"


@pytest.mark.slow
def test_the_module_is_what_its_source_compiles_to(tmp_path: Path) -> None:
    program = program_at(PROGRAMS / "make_core.py")
    program.compiled(tmp_path / "core.wasm")
    digests = [
        hashlib.sha256(place.read_bytes()).hexdigest()
        for place in (program.PLACE, tmp_path / "core.wasm")
    ]
    assert digests[0] == digests[1], "run docs/programs/make_core.py"


def knob(rows: Array) -> Array:
    """Turning both ways, jumping, at rest between rows and on one, and at both ends."""
    return np.concatenate(
        [
            np.linspace(10, 0, 37), np.full(9, 3.3), np.full(4, rows[2]), [0.0, 10.0, 10.0, 0.0],
            RANDOM.uniform(0, 10, 40), np.linspace(4, 4.2, 20), rows,
        ]
    )  # fmt: skip


def at_dial(table: Array, rows: Array, dial: float) -> Array:
    """A table's matrix there, along straight lines."""
    flat = table.reshape(rows.size, -1)
    found = [np.interp(dial, rows, column) for column in flat.T]
    return np.array(found).reshape(table.shape[1:])


@both
@pytest.mark.parametrize("states", [0, 1, 3, 4, 7, 8, 11, 13, 15, 21])
def test_a_circuit_moving_with_the_knob(states: int) -> None:
    """Every width that the compiler was given, and one beyond; blocks of any length."""
    rows = np.array([0.0, 0.4, 1.7, 5.0, 5.1, 9.0, 10.0])
    table = RANDOM.normal(size=(rows.size, states + 1, states + 4)) / (states + 4)
    dial = knob(rows)
    # A part of a larger array, whose rows lie apart.
    emf = RANDOM.normal(size=(4, dial.size + 7))[:, 3:-4]
    own, got = RANDOM.normal(size=states), np.empty(dial.size)
    last, wanted = own.copy(), np.empty(dial.size)
    for n, place in enumerate(dial):
        found = at_dial(table, rows, place) @ np.append(last, emf[:, n])
        last, wanted[n] = found[:-1], found[-1]
    for first, end in ((0, 1), (1, 50), (50, 50), (50, dial.size)):
        part = slice(first, end)
        core.step_states(table, rows, dial[part], emf[:, part], own, got[part])
    assert np.allclose(got, wanted, rtol=1e-12, atol=1e-13)
    assert np.allclose(own, last, rtol=1e-12, atol=1e-13)


@both
def test_sections() -> None:
    signal = RANDOM.normal(size=301)
    sections = np.array([[0.5, 0.2, 0.1, 1.0, -0.9, 0.3], [1.0, -2.0, 1.0, 1.0, 0.4, 0.1]])
    wanted, memory = sosfilt(sections, signal, zi=np.zeros((2, 2)))
    own, output = np.zeros((2, 2)), np.empty(301)
    core.filter_sections(sections, own, signal, output)
    assert np.allclose(output, wanted, rtol=1e-12, atol=1e-13)
    assert np.allclose(own, memory, rtol=1e-12, atol=1e-13)


@both
@pytest.mark.parametrize(("instants", "samples"), [(1, 3), (4, 64), (9, 83)])
def test_short_sums(instants: int, samples: int) -> None:
    signals = RANDOM.normal(size=(2, samples + 20))[:, 4:-4]
    kernels = RANDOM.normal(size=(instants, 2, 13))
    output = np.empty((instants, samples + 5))[:, 2:-3]
    core.combine(signals, kernels, output)
    wanted = [
        sum(np.correlate(row, weights, "valid") for row, weights in zip(signals, one, strict=True))
        for one in kernels
    ]
    assert np.allclose(output, wanted, rtol=1e-12, atol=1e-13)


@both
def test_a_curve_averaged() -> None:
    """Between the nodes and beyond them, along lines long and short: by adaptive quadrature."""
    step, end = 0.01, 1.5
    nodes = np.linspace(-end, end, 301)
    edge = np.tanh(end)
    once = np.log(np.cosh(nodes))
    twice = np.array([quad(lambda x: np.log(np.cosh(x)), 0, x)[0] for x in nodes])
    signal = np.concatenate([RANDOM.uniform(-3, 3, 20), np.linspace(-0.1, 0.1, 20), [1.5, -1.5]])
    output = np.empty(signal.size)
    core.shape_averaged(np.array([np.tanh(nodes), once, twice]), -end, step, 0.02, signal, output)
    around = np.concatenate([signal[-1:], signal, signal[:1]])
    clipped = lambda x: np.clip(np.tanh(x), -edge, edge)  # noqa: E731

    def mean(here: float, there: float) -> float:
        """Along the line, weighted by nearness to where it starts."""
        kinks = [(x - here) / (there - here) for x in (-end, end) if there != here]
        inside = [x for x in kinks if 0 < x < 1]
        value = quad(
            lambda t: (1 - t) * clipped(here + t * (there - here)), 0, 1, points=inside or None
        )
        return float(value[0])

    wanted = [
        mean(x, before) + mean(x, after)
        for before, x, after in zip(around, around[1:], around[2:], strict=False)
    ]
    assert output == pytest.approx(wanted, abs=2e-5)


def struck(kind: Any) -> tuple[Steps, Array, Array]:
    """A circuit, a knob that turns and rests, and an EMF so strong that the method needs its guard."""
    stage = Stage(read_pedal(EARLY, kind) if kind == "early" else kind)
    rig = find_rig("humbucker-500k").feeding(load_of(stage))
    driven = Driven(rig, (Design("bare", None),), 48_000, 1.0)
    dial = np.concatenate([np.linspace(10, 2, 30), np.full(10, 2.0)])
    emf = np.zeros((driven.oversampling, 40))
    emf[:, 5:] = 8.0 * RANDOM.uniform(-1, 1, size=(driven.oversampling, 35))
    return driven.steps[0], dial, emf


EARLY = """One transistor with a small Early voltage
Vs supply 0 9
Cin in base 1u
Rtop supply base 390k
Rlow base 0 56k
Rc supply coll 9.1k
Re emit 0 1k
Ce emit 0 22u
Q1 coll base emit low
Cout coll out 100n
Rl out 0 470k
.model low NPN(IS=2e-14 BF=190 BR=3 VAF=8)
"""


def flowing(kinds: Array, volts: Array) -> Array:
    """Currents of junctions, and Early's: what a transistor carries, times v_bc / V_A, less."""
    saturation, per_volt, _, early, stands = kinds
    through = saturation * np.expm1(np.minimum(volts * per_volt, 300))
    for k in np.flatnonzero(early):
        e = int(stands[k])
        through[k] = -(through[e] - through[e + 1]) * volts[e + 1] * early[k]
    return np.asarray(through)


def found(open_volts: Array, feedback: Array, kinds: Array, last: Array) -> Array:
    """Junction voltages by MINPACK, the open ones coming from the last solution in small steps."""
    saturation, per_volt, _, early, stands = kinds

    def currents(v: Array) -> Array:
        return flowing(kinds, v)

    def slopes(v: Array) -> Array:
        per = np.diag(per_volt * (saturation * np.exp(np.minimum(v * per_volt, 300))))
        for k in np.flatnonzero(early):
            e = int(stands[k])
            carried = currents(v)[e] - currents(v)[e + 1]
            per[k, e] = -early[k] * per[e, e] * v[e + 1]
            per[k, e + 1] = early[k] * (per[e + 1, e + 1] * v[e + 1] - carried)
        return np.asarray(np.eye(v.size) - feedback @ per)

    before = last - feedback @ currents(last)
    for steps in (1, 8, 64, 512):
        volts, far = last, 0.0
        for share in np.arange(1, steps + 1) / steps:
            u = before + share * (open_volts - before)
            tried = root(
                lambda v, u=u: v - u - feedback @ currents(v), volts, jac=slopes, tol=1e-13
            )
            volts, far = tried.x, float(np.abs(tried.fun).max())
        if far < 1e-9:
            return np.asarray(volts)
    pytest.fail("no solution by MINPACK either")


@both
@pytest.mark.parametrize("kind", ["germanium-fuzz", "treble-booster", "diode-clipper", "early"])
def test_circuits_with_junctions(kind: Any) -> None:
    """Two and four junctions: each step solved by MINPACK instead."""
    steps, dial, emf = struck(kind)
    (standing,) = at_rest(steps, 1)
    output = np.empty(emf.size)
    m, p = steps.state_count, steps.junction_count
    past = [np.zeros(m)] * 3
    volts, wanted = steps.rest[0], np.empty(emf.size)
    for n, place in enumerate(dial):
        now = at_dial(steps.table, steps.dials, place)
        feedback = now[m : m + p, -p:]
        for q in range(len(emf)):
            history = sum(w * z for w, z in zip(PAST, past, strict=True))
            without = now[:, :-p] @ np.append(history, emf[q, n])
            open_volts = without[m : m + p] + steps.rest[0] - feedback @ steps.rest[1]

            volts = found(open_volts, feedback, steps.kinds, volts)
            extra = flowing(steps.kinds, volts) - steps.rest[1]
            solved = without + now[:, -p:] @ extra
            past = [solved[:m], *past[:2]]
            wanted[n * len(emf) + q] = solved[-1]
    failed = core.step_circuit(
        steps.by_columns, steps.dials, steps.kinds, steps.rest, PAST, dial, emf, standing.past, m,
        standing.solutions, output,
    )  # fmt: skip
    assert failed == -1 and np.ptp(wanted) > 0.1
    assert np.abs(output - wanted).max() < 1e-6 * np.abs(wanted).max()


@both
def test_eight_junctions_are_two_fours() -> None:
    """Two circuits of four side by side are each as alone."""
    steps, dial, emf = struck("silicon-fuzz")
    m, p = steps.state_count, steps.junction_count
    alone, output = np.empty(emf.size), np.empty(emf.size)
    (standing,) = at_rest(steps, 1)
    assert core.step_circuit(
        steps.by_columns, steps.dials, steps.kinds, steps.rest, PAST, dial, emf, standing.past, m,
        standing.solutions, alone,
    ) == -1  # fmt: skip
    rows, columns, width = steps.by_columns.shape
    table = np.zeros((rows, columns + p, width + p))
    table[:, :columns, :p], table[:, :columns, 2 * p :] = np.split(steps.by_columns, [p], axis=2)
    # The others see nothing but a battery of their own, and are not heard.
    table[:, columns:, p : 2 * p] = -1e3 * np.eye(p)
    doubled = [np.hstack([one, one]) for one in (steps.kinds, steps.rest)]
    (standing,) = at_rest(steps, 1)
    failed = core.step_circuit(
        table, steps.dials, doubled[0], doubled[1], PAST, dial, emf, standing.past, m,
        np.hstack([standing.solutions] * 2), output,
    )  # fmt: skip
    assert failed == -1
    assert np.abs(output - alone).max() < 1e-6 * np.abs(alone).max()


@both
def test_a_step_without_a_solution_is_told() -> None:
    kinds = np.repeat([[1e-12], [40.0], [0.6], [0.0], [0.0]], 4, axis=1)
    assert not core.solve_junctions(
        kinds, np.zeros((4, 4)), np.full(4, np.nan), np.zeros((3, 4)), np.zeros(4)
    )
    assert core.solve_junctions(
        kinds, -1e3 * np.eye(4), np.full(4, 9.0), np.zeros((3, 4)), np.zeros(4)
    )


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
        "solve_junctions": [
            np.ones((5, 4)), np.zeros((4, 4)), np.zeros(4), np.zeros((3, 4)), np.zeros(4),
        ],
        "step_circuit": [
            np.zeros((2, 10, 12)), np.array([0.0, 10.0]), np.ones((5, 4)), np.zeros((2, 4)),
            np.zeros(3), np.zeros(4), np.zeros((2, 4)), np.zeros((3, 8)), 5, np.zeros((3, 4)),
            np.zeros(8),
        ],
    }  # fmt: skip


@pytest.mark.parametrize("name", list(good()))
def test_wrong_arguments_are_refused(name: str) -> None:
    """Whatever is wrong with an array, an exception, and the next call works."""
    loop = getattr(core, name)
    for place, right in enumerate(good()[name]):
        if not isinstance(right, np.ndarray):
            continue
        longer = np.zeros([size + 1 for size in right.shape])
        wrong: list[Any] = [
            "text", None, right.astype(np.float32), right.astype(int), right[np.newaxis], longer,
            np.repeat(right, 2, axis=-1)[..., ::2],
        ]  # fmt: skip
        for other in wrong:
            given = good()[name]
            if isinstance(other, np.ndarray) and other.size < 2:
                continue
            given[place] = other
            with pytest.raises((TypeError, ValueError, IndexError)):
                loop(*given)
    written = good()[name]
    written[-1].flags.writeable = False
    with pytest.raises(ValueError, match="can be written"):
        loop(*written)
    loop(*good()[name])


# What an installation without the built library does; the rest of the command line follows.
WITHOUT = """
import sys
from importlib import util
find = util.find_spec
util.find_spec = lambda name, *more: None if name in {names} else find(name, *more)
from presolder.render.start import main
main()
"""


def rendered(out: Path, *start: str) -> subprocess.CompletedProcess[str]:
    turn = ["--travel", "0.1", "--rest", "0", "--rig", "humbucker-500k", "--design", "cap"]
    command = [sys.executable, *start, "render", SAMPLES / "phrase.flac", *turn, "--out", out]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.mark.slow
def test_without_a_compiler(tmp_path: Path) -> None:
    """The module instead, with the same sound; without that too, one line."""
    built = rendered(tmp_path / "built", "-m", "presolder.render")
    without = WITHOUT.format(names=("presolder.models.loops",))
    portable = rendered(tmp_path / "portable", "-c", without)
    heard = []
    for name, done in (("built", built), ("portable", portable)):
        assert (done.returncode, done.stderr) == (0, ""), done
        heard.append(soundfile.read(tmp_path / name / "sweep" / "cap.wav", dtype="int32")[0] >> 8)
    # Steps of 24 bits.
    assert np.abs(heard[0] - heard[1]).max() <= 1
    none = WITHOUT.format(names=("presolder.models.loops", "wasmtime"))
    done = rendered(tmp_path / "none", "-c", none)
    assert done.returncode == 2 and len(done.stderr.splitlines()) == 1
    assert "not compiled" in done.stderr and not (tmp_path / "none").exists()
