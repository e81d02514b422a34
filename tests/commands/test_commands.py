"""The commands as a user runs them."""

import csv
import io
import json
import re
from pathlib import Path

import mutagen
import numpy as np
import pyloudnorm
import pytest
import scipy.signal
import soundfile

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import BUILT_IN, short_list
from presolder.render.commands.texts import parse_frequencies
from presolder.render.files.rig_file import find_rig
from presolder.render.files.take import Take
from presolder.render.report.take import remarks
from rendering import rms
from running import in_process, presolder, presolder_here
from takes import ROOT, SAMPLES

TAKE = str(SAMPLES / "phrase.flac")


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
    assert result.stderr == "presolder: rig humbucker-500k, the built-in default (see --rig)\n"
    manifest = json.loads((out / "manifest.json").read_text())
    assert [entry["file"] for entry in manifest["files"]] == [
        "sweep/bare.wav",
        "sweep/47k_series_1n.wav",
    ]
    assert manifest["knob"] == {"time_s": [0.0, 0.5, 2.5, 3.0], "dial": [10.0, 10.0, 0.0, 0.0]}
    assert manifest["designs"][1]["parts"] == {
        "series": [{"resistor": {"ohms": 47000.0}}, {"capacitor": {"farads": 1e-9}}]
    }
    assert sorted(path.name for path in out.rglob("*")) == [
        ".presolder.json",
        "47k_series_1n.wav",
        "bare.wav",
        "manifest.json",
        "sweep",
    ]
    for number, entry in enumerate(manifest["files"], start=1):
        with soundfile.SoundFile(out / entry["file"]) as file:
            assert file.title == f"{entry['design']}: sweep"
            assert (file.artist, file.album) == ("presolder", find_rig("humbucker-500k").title)
            assert file.comment == f"design {entry['design']}, dial sweep, rig {file.album}"
            assert file.tracknumber == str(number)
    peaks = []
    for entry in manifest["files"]:
        audio, rate = soundfile.read(out / entry["file"])
        assert (rate, len(audio)) == (48_000, 3 * 48_000)
        peak = 20 * np.log10(np.abs(audio).max())
        assert peak == pytest.approx(entry["sample_peak_dbfs"], abs=0.01)
        peaks.append(peak)
    assert max(peaks) == pytest.approx(-1.0, abs=0.01)


def test_a_guitar_of_one_situation_names_none(tmp_path: Path) -> None:
    rig = ps.rig("humbucker-500k")
    ps.render_files(
        tmp_path / "out", ps.sample("phrase"), rig, ["bare"], ps.turn(10, 0, travel=0.2, rest=0)
    )
    with soundfile.SoundFile(tmp_path / "out" / "sweep" / "bare.wav") as file:
        assert file.album == rig.title


def test_stereo_and_bit_depths(tmp_path: Path) -> None:
    left, rate = soundfile.read(TAKE)
    soundfile.write(tmp_path / "stereo.wav", np.stack([left, -0.5 * left], axis=1), rate)
    for bits, subtype in (("16", "PCM_16"), ("24", "PCM_24"), ("float", "FLOAT")):
        out = tmp_path / bits
        result = presolder_here(
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
    result = presolder_here(
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
    assert "looped with crossfades from 4.80 s to 8.00 s" in result.stdout
    audio, rate = soundfile.read(out / "sweep" / "bare.wav")
    take, _ = soundfile.read(TAKE)
    period = take.size - round(0.05 * rate)
    # Away from the seam the second round equals the first.
    first = audio[rate // 2 : 3 * rate]
    assert np.abs(audio[period + rate // 2 : period + 3 * rate] - first).max() < 1e-4


def test_gesture_file(tmp_path: Path) -> None:
    (tmp_path / "swell.csv").write_text("time_s,dial\n0,0\n0.5,0\n1,10\n1.5,10\n")
    result = presolder_here(
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


@pytest.mark.thorough
def test_demo_needs_no_other_argument_and_works_anywhere(tmp_path: Path) -> None:
    result = presolder("demo", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    (tmp_path / "presolder-demo").rename(tmp_path / "listen")
    made = short_list(find_rig("humbucker-500k"))
    sweeps = sorted((tmp_path / "listen" / "sweep").glob("*.wav"))
    assert {path.stem for path in sweeps} == {design.name for design in made}
    assert len(list((tmp_path / "listen" / "stairs").glob("*.flac"))) == len(made)
    assert len(list((tmp_path / "listen" / "ab").glob("*.flac"))) == 2 * (len(made) - 1)
    assert "Start playback quiet" in result.stdout
    for path in sweeps:
        audio, rate = soundfile.read(path)
        presence = scipy.signal.butter(4, [2000, 5000], "bandpass", fs=rate, output="sos")
        treble = scipy.signal.sosfilt(presence, audio)
        # All the way from 10 to 0, where nothing is left.
        assert np.abs(audio[: rate // 2]).max() > 0.1 and np.abs(audio[-rate // 2 :]).max() < 1e-4
        for dial in range(9, 2, -1):
            # The turn starts at 1 s and takes 1.4 s a dial.
            middle = round((1 + 1.4 * (10 - dial)) * rate)
            halves = range(middle - round(0.7 * rate), middle + round(0.2 * rate), rate // 20)
            best = max(np.mean(treble[i : i + rate // 2] ** 2) for i in halves)
            assert 10 * np.log10(best) > -60, (path.stem, dial)


def test_built_in_gangs_and_where_they_are_heard_on_another_rig(tmp_path: Path) -> None:
    result = presolder_here("render", TAKE, "--rig", "single-coil-250k", "--design", "gang-series-strong",
                       "--design", "bare", "--travel", "5", "--rest", "0", cwd=tmp_path)  # fmt: skip
    assert result.returncode == 0, result.stderr
    manifest = json.loads((tmp_path / "phrase-listen" / "manifest.json").read_text())
    assert manifest["designs"][0]["expression"].startswith("gang(250k, audio, full")
    gang, bare = manifest["files"]
    assert gang["most_unlike_bare_at"] in range(1, 10) and bare["most_unlike_bare_at"] is None
    (row,) = [line for line in result.stdout.splitlines() if "gang-series-strong.wav" in line]
    at = {one["dial"]: one for one in gang["beside_bare"]}
    shown = [
        f"{at[dial]['louder_phon']:+.1f}, {at[dial]['brighter_db']:+.1f}" for dial in (8, 6, 4)
    ]
    assert row.split("  ")[-1].strip() == f"{gang['most_unlike_bare_at']:g}"
    assert all(cell in row for cell in shown)
    refused = presolder_here("demo", "--rig", "nope", cwd=tmp_path)
    assert refused.returncode == 2 and "'nope' is neither a file nor built in" in refused.stderr


def test_a_part_of_a_take_without_its_silence(tmp_path: Path) -> None:
    audio, rate = soundfile.read(TAKE)
    late = np.concatenate([np.zeros(2 * rate), audio])
    soundfile.write(tmp_path / "late.wav", late, rate, "PCM_24")
    common = ("--design", "bare", "--from", "10", "--to", "10", "--rest", "0", "--gain-db", "0",
              "--bits", "float")  # fmt: skip
    result = presolder_here("render", "late.wav", *common, "--travel", "1", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    assert "s of silence at the start" in result.stderr
    manifest = json.loads((tmp_path / "late-listen" / "manifest.json").read_text())
    left_out = late.size - manifest["input"]["samples"]
    assert 1.9 < left_out / rate < 2.0
    made, _ = soundfile.read(tmp_path / "late-listen" / "sweep" / "bare.wav")
    assert np.abs(made[: rate // 2] - late[left_out : left_out + rate // 2]).max() < 1e-3
    result = presolder_here("render", "late.wav", *common, "--travel", "0.5", "--start", "3", "--end",
                       "4.5", "--out", "part", cwd=tmp_path)  # fmt: skip
    assert "3 to 4.5 s of it" in result.stderr
    part, _ = soundfile.read(tmp_path / "part" / "sweep" / "bare.wav")
    # The first tenth is the chain settling on a take that starts in the middle.
    kept = slice(rate // 10, rate // 3)
    assert np.abs(part[kept] - audio[rate : 2 * rate][kept]).max() < 1e-3
    for options, says in (
        (("--start", "5", "--end", "4"), "from 5 to 4 s must lie within its 6.80 s"),
        (("--end", "1.5"), "from 0 to 1.5 s there is less than 0.1 s of sound"),
    ):
        refused = presolder_here("render", "late.wav", *options, "--out", "no", cwd=tmp_path)
        assert refused.returncode == 2 and says in refused.stderr


def test_stairs_and_a_design_beside_the_bare_pot(tmp_path: Path) -> None:
    result = presolder_here("render", TAKE, "--design", "series-strong", "--travel", "1", "--rest", "0",
                       "--stairs", "--ab", "--stair-dials", "10,5", "--phrase", "1.2",
                       "--out", tmp_path / "out")  # fmt: skip
    assert result.returncode == 0, result.stderr
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    assert manifest["comparisons"]["dials"] == [10, 5]
    files = {entry["file"]: entry for entry in manifest["comparisons"]["files"]}
    assert set(files) == {"stairs/bare.flac", "stairs/series-strong.flac",
                          "ab/series-strong_true.flac", "ab/series-strong_matched.flac"}  # fmt: skip

    # Numbered in the order in which they are listed.
    numbers = [mutagen.File(tmp_path / "out" / name)["tracknumber"] for name in files]
    assert numbers == [["1"], ["2"], ["3"], ["4"]]

    def piece(name: str, number: int) -> np.ndarray:
        audio, rate = soundfile.read(tmp_path / "out" / name)
        first = round(files[name]["starts_s"][number] * rate)
        return np.asarray(audio[first : first + round(1.2 * rate)])

    rate = 48_000
    bare, design = (piece("ab/series-strong_true.flac", i) for i in (3, 4))
    again = piece("ab/series-strong_true.flac", 5)
    assert np.array_equal(bare, again)
    assert rms(design) > 1.2 * rms(bare)
    matched = [piece("ab/series-strong_matched.flac", i) for i in (3, 4)]
    meter = pyloudnorm.Meter(rate)
    loud = [meter.integrated_loudness(audio) for audio in matched]
    assert loud[0] == pytest.approx(loud[1], abs=0.1)
    # At 10 both are the take; the stairs start with it too.
    ten = [piece("ab/series-strong_true.flac", i) for i in (0, 1)]
    assert np.abs(ten[0] - ten[1]).max() < 1e-3 * np.abs(ten[0]).max()
    step = piece("stairs/series-strong.flac", 1)
    assert np.abs(step / rms(step) - design / rms(design)).max() < 1e-2


def test_warnings_about_a_take(tmp_path: Path) -> None:
    """Clipping, DC, hum, too short, and a take whose chain cannot well be taken away."""
    audio, rate = soundfile.read(TAKE)
    hum = 0.05 * np.sin(2 * np.pi * 50 * np.arange(audio.size) / rate)
    rig = find_rig("humbucker-500k")
    for samples, says in (
        (audio, None),
        (np.clip(4 * audio, -0.5, 0.5), "is clipped in"),
        (0.5 * audio + 0.2, "has DC"),
        (0.5 * audio + hum, "mains hum at 50 Hz"),
        (audio[: rate // 2], "0.5 s long: too short"),
    ):
        said = remarks(Take(samples[None], rate, "take", ""), rig)
        assert len(said) == (0 if says is None else 1), said
        assert says is None or says in said[0]
    text = (ROOT / "render/rigs/humbucker-500k.toml").read_text() + "\n[take]\ntone_dial = 0\n"
    (tmp_path / "dull.toml").write_text(text)
    result = presolder_here("render", TAKE, "--rig", "dull.toml", "--design", "bare", "--travel",
                       "0.3", "--rest", "0", "--out", "dull", cwd=tmp_path)  # fmt: skip
    assert result.returncode == 0
    assert "lifts" in result.stderr and "record with volume and tone at 10" in result.stderr
    assert result.stderr.count("\n") == 1
    manifest = json.loads((tmp_path / "dull" / "manifest.json").read_text())
    assert len(manifest["input"]["remarks"]) == 1


def test_curves_rows(tmp_path: Path) -> None:
    file = tmp_path / "curves.csv"
    result = presolder_here(
        "curves",
        "--design",
        "bare",
        "--design",
        "1n",
        "--show",
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
    designs, rigs = presolder_here("designs").stdout, presolder_here("rigs").stdout
    assert all(design.name in designs for design in BUILT_IN)
    assert rigs.count("pickup") >= 4


@pytest.mark.slow
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
    result = presolder_here("render", *filled, "--out", "made/out", cwd=tmp_path)
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
    refused = presolder_here(*command)
    assert refused.returncode == 2
    assert "force is needed" in refused.stderr
    assert [path.name for path in out.iterdir()] == ["mine.txt"]
    assert presolder_here(*command, "--force").returncode == 0
    assert (out / "mine.txt").read_text() == "mine"
    assert (out / "sweep" / "bare.wav").exists()


def test_as_many_designs_as_a_file_may_have(tmp_path: Path) -> None:
    """However they are given: 64 at once."""
    file = tmp_path / "designs.toml"
    tables = [
        f'[[design]]\nname = "d{i}"\nnetwork = {{ capacitor = "{i}p" }}\n' for i in range(100, 165)
    ]
    file.write_text("".join(tables[:64]))
    every = [word for i in range(200, 265) for word in ("--design", f"{i}p")]
    assert len(json.loads(in_process("curves", "--json", "--designs", str(file)))["designs"]) == 64
    for given, message in (
        (every, "--design is given 65 times; at most 64"),
        ([*every[:2], "--designs", str(file)], "--design and --designs give 65; at most 64"),
    ):
        with pytest.raises(InputError, match=message):
            in_process("curves", *given)
    file.write_text("".join(tables))
    with pytest.raises(InputError, match="65 designs; at most 64"):
        in_process("curves", "--designs", str(file))


@pytest.mark.parametrize(
    "text",
    [
        "100:50:3", "0:100:3", "1:2:1", "1:2:3:4", "1:2", "a:2:3", "-5:5:3", "1:2:10001", "1:1:5",
        "1:1e9:5",
    ],
)  # fmt: skip
def test_frequency_lists_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match=r"--frequency .* first:last:count .* of 2 to 10000"):
        parse_frequencies(text)


def test_frequency_lists() -> None:
    assert parse_frequencies("100:400:3") == pytest.approx([100, 200, 400])
    assert parse_frequencies("100,50") == pytest.approx([100, 50])
    assert parse_frequencies("0.5:0.9e9:10000").size == 10_000


def test_frequencies_from_above_0_to_below_1_ghz() -> None:
    for hz in (0.4, 0.99e9):
        ps.response_db("humbucker-500k", "bare", hz=[hz], dial=[5])
    for hz in (0.0, -1.0, 1e9, float("nan")):
        with pytest.raises(InputError, match="above 0 and below 1 GHz"):
            ps.response_db("humbucker-500k", "bare", hz=[100.0, hz], dial=[5])


@pytest.mark.parametrize(("draws", "fits"), [(9, False), (10, True), (100_001, False)])
def test_draws(draws: int, fits: bool) -> None:
    words = ("curves", "--design", "bare", "--show", "5", "--tolerance", "--draws", str(draws))
    if fits:
        assert re.search(r"-\d+\.\d \(-\d+\.\d to -\d+\.\d\)", in_process(*words))
    else:
        with pytest.raises(InputError, match=f"--draws {draws} must lie between 10 and"):
            in_process(*words)


@pytest.mark.slow
def test_what_goes_into_files_is_not_said_as_well(tmp_path: Path) -> None:
    common = ("curves", "--design", "cap", "--show", "5", "--frequency", "1000")
    for options in (("--csv", "a.csv"), ("--plot", "a.svg"), ("--csv", "b.csv", "--plot", "b.svg")):
        done = presolder_here(*common, *options, cwd=tmp_path)
        assert (done.returncode, done.stdout) == (0, ""), options
        with_json = presolder_here(*common, *options, "--json", "--force", cwd=tmp_path)
        assert json.loads(with_json.stdout)["dials"] == [5]
    assert len(list(tmp_path.iterdir())) == 4
