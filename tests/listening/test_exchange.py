"""What other programs read: netlists that a simulator runs, impulse responses, cue markers."""

import csv
import json
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

import presolder as ps
from presolder.models.audio.knob import KnobPath
from presolder.models.typing import Array
from running import in_process, presolder_here
from takes import SAMPLES

TAKE = str(SAMPLES / "phrase.flac")


def simulated(circuit: Path) -> tuple[Array, Array]:
    """Frequencies and size of what the simulator prints for a netlist as it is."""
    done = subprocess.run(
        ["ngspice", "-b", circuit], capture_output=True, text=True, check=True
    ).stdout
    rows = [line.replace(",", " ").split() for line in done.splitlines() if line[:1].isdigit()]
    hz, volts = np.array([[float(row[1]), float(row[2])] for row in rows]).T
    return hz, volts


@pytest.mark.parametrize(
    ("name", "design"),
    [
        ("humbucker-500k", "68k + 1n5"),
        ("two-pickups", "gang(500k, audio, full) || 330p"),
        ("hollow-body-blend", "cap"),
        ("piezo-buffered", "bare"),
        ("split-humbucker", "150k || (33k + 1n)"),
    ],
)
@pytest.mark.parametrize("dial", [10.0, 6.5, 0.0])
def test_a_simulator_runs_the_netlist_and_says_the_same(
    name: str, design: str, dial: float, tmp_path: Path
) -> None:
    circuit = tmp_path / "a.cir"
    circuit.write_text(ps.netlist(name, design, dial))
    hz, volts = simulated(circuit)
    assert hz.size == 301 and hz[0] == 20
    gains = np.abs(ps.response(name, design, dial, hz))
    if dial == 0:
        # What a short of a milliohm lets through.
        assert volts.max() < 1e-6 and np.max(gains) < 1e-8
    else:
        # The simulator prints seven figures.
        assert volts == pytest.approx(gains, rel=2e-6)


@pytest.mark.parametrize("kind", ["germanium-fuzz", "treble-booster", "diode-clipper"])
def test_a_circuit_that_the_guitar_feeds_is_in_the_netlist(kind: str, tmp_path: Path) -> None:
    """Its junctions at their working points, which the simulator finds for itself."""
    stage = ps.dirt(kind)
    rig = replace(ps.rig("humbucker-500k"), dirt=stage)
    circuit = tmp_path / "a.cir"
    circuit.write_text(ps.netlist(rig, "cap", 7).replace("(heard)", "(out)"))
    hz, volts = simulated(circuit)
    gains = np.abs(ps.response(rig.as_heard, "cap", 7, hz))
    assert volts == pytest.approx(gains, rel=2e-3)
    assert "(heard)" in ps.netlist(rig, "cap", 7)


@pytest.fixture(scope="module")
def exchange(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("exchange") / "out"
    in_process("export", "--design", "bare", "--design", "68k + 1n5", "--hold", "10,7.5,2",
               "--out", str(out))  # fmt: skip
    return out


def test_a_convolver_makes_what_is_rendered(exchange: Path) -> None:
    """To -100 dB, at every dial; and a shorter response would not."""
    made = json.loads((exchange / "manifest.json").read_text())
    take, lead = ps.read(TAKE), made["delay_samples"]
    seconds = take.duration_s
    assert len(made["files"]) == 6
    for file in made["files"]:
        impulse, rate = soundfile.read(exchange / file["impulse"])
        assert rate == 48_000 and impulse.size == file["samples"]
        dial = file["dial"]
        held = KnobPath((0.0, seconds), (dial, dial))
        audio = ps.render(take, "humbucker-500k", [file["design"]], held)
        rendered = audio[file["design"]][0]

        def left_db(impulse: Array, rendered: Array = rendered) -> float:
            wet = scipy.signal.fftconvolve(take.samples[0], impulse)
            wet = wet[lead : lead + rendered.size]
            error = np.std(wet - rendered[: wet.size]) / np.std(rendered)
            return float(20 * np.log10(error))

        assert left_db(impulse) < -100
        # At its worst frequency it would not with a quarter of its end left out.
        last = np.abs(np.fft.rfft(impulse[-impulse.size // 4 :], 1 << 16)).max()
        assert last / np.abs(np.fft.rfft(impulse, 1 << 16)).max() > 0.24 * 0.5e-5


def test_responses_lie_beside_them(exchange: Path) -> None:
    with (exchange / "responses.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    row = rows[-1]
    told = ps.response_db(
        "humbucker-500k", row["design"], float(row["dial"]), float(row["frequency_hz"])
    )
    assert isinstance(told, float) and told == pytest.approx(float(row["gain_db"]), abs=1e-5)
    assert len(rows) == 2 * 3 * 200


def test_nonsense_to_export_is_one_line(tmp_path: Path) -> None:
    for options, said in (
        (("--rate", "8000"), "must lie between 44100 and 192000"),
        (("--hold", "0"), "0 must lie above 0"),
    ):
        done = presolder_here("export", *options, "--out", tmp_path / "out")
        assert done.returncode == 2 and said in done.stderr
        assert list(tmp_path.iterdir()) == []


def test_sweeps_have_a_marker_at_each_whole_dial(tmp_path: Path) -> None:
    """As the tool reads them that most players are built on: chapters."""
    in_process("render", TAKE, "--design", "cap", "--from", "9.5", "--to", "7", "--travel", "2.5",
               "--rest", "1", "--out", str(tmp_path / "out"))  # fmt: skip
    file = tmp_path / "out" / "sweep" / "cap.wav"
    command = ["ffprobe", "-v", "error", "-show_chapters", "-of", "json", file]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    told = [
        (one["tags"]["title"], float(one["start_time"]))
        for one in json.loads(done.stdout)["chapters"]
    ]
    assert told == [
        ("dial 9", pytest.approx(1.5, abs=1e-4)),
        ("dial 8", pytest.approx(2.5, abs=1e-4)),
        ("dial 7", pytest.approx(3.5, abs=1e-4)),
    ]
    with soundfile.SoundFile(file) as sound:
        assert sound.frames == round(4.5 * 48_000) and sound.title == "cap: sweep"


def test_dial_and_level_of_each_sample() -> None:
    """The dial by hand; the level against the response at a few of them."""
    take, rate = ps.read(TAKE), 48_000
    audio = ps.render(take, "split-humbucker", ["bare", "cap"], ps.turn(8, 3, travel=1, rest=0.5))
    assert set(audio) == {
        f"{place}/{design}"
        for place in ("in series", "in parallel", "one coil")
        for design in ("bare", "cap")
    }
    middle = (np.arange(2 * rate) - 0.5) / rate
    assert audio.dial == pytest.approx(np.interp(middle, [0.5, 1.5], [8, 3]), abs=1e-9)
    for at in (0, rate, 2 * rate - 1):
        place = ps.situations("split-humbucker")[0].rig
        level = ps.response_db(place, "cap", [audio.dial[at], 10], 500)
        assert isinstance(level, np.ndarray)
        assert audio.level_db["in series/cap"][at] == pytest.approx(level[0] - level[1], abs=2e-3)
