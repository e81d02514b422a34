"""The commands as a user runs them."""

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from presolder.models.instrument.designs import BUILT_IN
from presolder.render.files.rigs import find_rig
from running import presolder
from takes import SAMPLES

TAKE = str(SAMPLES / "harmonics.flac")


def test_render_writes_one_file_per_design_and_a_true_manifest(tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = presolder(
        "render",
        TAKE,
        "--design",
        "bare",
        "--design",
        "47k + 1n",
        "--travel",
        "2",
        "--rest",
        "0.5",
        "--out",
        out,
    )
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""
    manifest = json.loads((out / "manifest.json").read_text())
    assert [entry["file"] for entry in manifest["files"]] == [
        "sweep/bare.wav",
        "sweep/47k_ser_1n.wav",
    ]
    assert manifest["knob"] == {"time_s": [0.0, 0.5, 2.5, 3.0], "dial": [10.0, 10.0, 0.0, 0.0]}
    assert manifest["designs"][1]["parts"] == {
        "series": [{"resistor": {"ohms": 47000.0}}, {"capacitor": {"farads": 1e-9}}]
    }
    assert sorted(path.name for path in out.rglob("*")) == [
        "47k_ser_1n.wav",
        "bare.wav",
        "manifest.json",
        "sweep",
    ]
    peaks = []
    for entry in manifest["files"]:
        audio, rate = soundfile.read(out / entry["file"])
        assert (rate, len(audio)) == (44_100, 3 * 44_100)
        peak = 20 * np.log10(np.abs(audio).max())
        assert peak == pytest.approx(entry["sample_peak_dbfs"], abs=0.01)
        peaks.append(peak)
    assert max(peaks) == pytest.approx(-1.0, abs=0.01)


def test_stereo_and_bit_depths(tmp_path: Path) -> None:
    left, rate = soundfile.read(TAKE)
    soundfile.write(tmp_path / "stereo.wav", np.stack([left, -0.5 * left], axis=1), rate)
    for bits, subtype in (("16", "PCM_16"), ("24", "PCM_24"), ("float", "FLOAT")):
        out = tmp_path / bits
        result = presolder(
            "render",
            tmp_path / "stereo.wav",
            "--design",
            "cap",
            "--travel",
            "1",
            "--rest",
            "0",
            "--bits",
            bits,
            "--gain-db",
            "0",
            "--out",
            out,
        )
        assert result.returncode == 0, result.stderr
        audio, _ = soundfile.read(out / "sweep" / "cap.wav")
        assert soundfile.info(out / "sweep" / "cap.wav").subtype == subtype
        assert audio.shape == (rate, 2)
        assert np.abs(audio[:, 1] + 0.5 * audio[:, 0]).max() < 1e-4


def test_looping_repeats_the_take_and_says_so(tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = presolder(
        "render",
        TAKE,
        "--design",
        "bare",
        "--from",
        "10",
        "--to",
        "10",
        "--travel",
        "8",
        "--rest",
        "0",
        "--bits",
        "float",
        "--gain-db",
        "0",
        "--out",
        out,
    )
    assert "looped with crossfades from 3.53 s to 8.00 s" in result.stdout
    audio, rate = soundfile.read(out / "sweep" / "bare.wav")
    take, _ = soundfile.read(TAKE)
    period = take.size - round(0.05 * rate)
    # Away from the seams the second and third rounds equal the first.
    first = audio[rate // 2 : rate]
    assert np.abs(audio[period + rate // 2 : period + rate] - first).max() < 1e-4
    assert np.abs(audio[2 * period + rate // 2 : 2 * period + rate] - first).max() < 1e-4


def test_gesture_file(tmp_path: Path) -> None:
    (tmp_path / "swell.csv").write_text("time_s,dial\n0,0\n0.5,0\n1,10\n1.5,10\n")
    result = presolder(
        "render",
        TAKE,
        "--design",
        "bare",
        "--gesture",
        tmp_path / "swell.csv",
        "--bits",
        "float",
        "--out",
        tmp_path / "out",
    )
    assert result.returncode == 0, result.stderr
    audio, rate = soundfile.read(tmp_path / "out" / "sweep" / "bare.wav")
    assert audio.size == 1.5 * rate
    assert np.abs(audio[: rate // 2]).max() < 1e-9
    assert np.abs(audio[rate:]).max() > 0.1


def test_demo_needs_no_other_argument_and_works_anywhere(tmp_path: Path) -> None:
    result = presolder("demo", "--out", "listen", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    assert len(list((tmp_path / "listen" / "sweep").glob("*.wav"))) == len(BUILT_IN)
    assert "Start playback quiet" in result.stdout


def test_curves_rows(tmp_path: Path) -> None:
    file = tmp_path / "curves.csv"
    result = presolder(
        "curves",
        "--design",
        "bare",
        "--design",
        "1n",
        "--dial",
        "10,0",
        "--frequency",
        "20:20000:5",
        "--csv",
        file,
    )
    assert result.returncode == 0, result.stderr
    rows = list(csv.DictReader(io.StringIO(file.read_text())))
    assert len(rows) == 2 * 2 * 5
    assert list(rows[0]) == ["design", "dial", "frequency_hz", "gain_db", "phase_deg"]
    assert [float(row["frequency_hz"]) for row in rows[:5]] == pytest.approx(
        np.geomspace(20, 20000, 5)
    )
    assert rows[5]["gain_db"] == "-inf"
    # At 20 Hz and dial 10 the pickup sees only resistors: a voltage divider.
    rig = find_rig("humbucker-500k")
    load = 1 / (1 / rig.first.volume.resistance_ohms + 1 / rig.load.resistance_ohms)
    divider_db = 20 * np.log10(load / (load + rig.first.pickup.resistance_ohms))
    assert float(rows[0]["gain_db"]) == pytest.approx(divider_db, abs=0.1)


def test_lists() -> None:
    designs, rigs = presolder("designs").stdout, presolder("rigs").stdout
    assert all(design.name in designs for design in BUILT_IN)
    assert rigs.count("pickup") >= 4


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["no.wav"], "no.wav: no such file"),
        (["{rig}"], "cannot be read as audio"),
        (["{dir}"], "is not a regular file"),
        (["{empty}"], "at least 0.1 s is needed"),
        (["{nan}"], "not finite numbers"),
        (["{three}"], "3 channels"),
        (["{low}"], "sample rate 22050 Hz"),
        ([TAKE, "--design", "seris"], "nearest: series"),
        ([TAKE, "--design", "91k || 82x"], "column 8"),
        ([TAKE, "--design", "0k || 1n"], "out of range"),
        ([TAKE, "--design", "cap", "--design", "cap"], "given twice"),
        ([TAKE, "--rig", "humbuker"], "nearest: humbucker-500k"),
        ([TAKE, "--from", "11"], "dial = 11 must lie between 0 and 10"),
        ([TAKE, "--travel", "-1"], "travel = -1 s"),
        ([TAKE, "--travel", "soon"], "'soon' is not a valid float"),
        ([TAKE, "--bits", "12"], "'12' is not one of"),
        ([TAKE, "--gain-db", "60"], "would clip"),
        ([TAKE, "--gesture", "no.csv", "--from", "3"], "exclude each other"),
        ([TAKE, "--gesture", "no.csv"], "no.csv: no such file"),
    ],
)
def test_bad_input_is_one_line_and_leaves_nothing(
    tmp_path: Path, arguments: list[str], message: str
) -> None:
    files = {
        "rig": "rig.toml",
        "dir": ".",
        "empty": "e.wav",
        "nan": "n.wav",
        "three": "3.wav",
        "low": "l.wav",
    }
    (tmp_path / "rig.toml").write_text("[pickup]\n")
    soundfile.write(tmp_path / "e.wav", np.zeros(0), 44_100)
    soundfile.write(tmp_path / "n.wav", np.full(9000, np.nan), 44_100, "FLOAT")
    soundfile.write(tmp_path / "3.wav", np.ones((9000, 3)) * 0.1, 44_100)
    soundfile.write(tmp_path / "l.wav", np.ones(9000) * 0.1, 22_050)
    before = sorted(tmp_path.iterdir())
    filled = [argument.format(**files) for argument in arguments]
    result = presolder("render", *filled, "--out", "made/out", cwd=tmp_path)
    assert result.returncode == 2
    assert result.stdout == ""
    assert message in result.stderr
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith("presolder: ")
    assert [
        path for path in sorted(tmp_path.rglob("*")) if path not in before and path.is_file()
    ] == []


def test_existing_folder_needs_force_and_keeps_other_files(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    command = ("render", TAKE, "--design", "bare", "--travel", "1", "--rest", "0", "--out", out)
    refused = presolder(*command)
    assert refused.returncode == 2
    assert "force is needed" in refused.stderr
    assert [path.name for path in out.iterdir()] == ["mine.txt"]
    assert presolder(*command, "--force").returncode == 0
    assert (out / "mine.txt").read_text() == "mine"
    assert (out / "sweep" / "bare.wav").exists()
