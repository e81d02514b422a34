"""Success, or one clear line and the documented exit status; nothing left behind, no memory wasted."""

import contextlib
import json
import os
import resource
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile

import presolder as ps
from presolder.models.errors import InputError
from presolder.render.files import audio, ffmpeg
from presolder.render.files.audio import read_impulse, read_recording
from presolder.render.files.folder import file_stems, new_file, new_folder
from presolder.render.files.health import ffmpeg_trouble, scratch_trouble
from presolder.render.files.scratch import scratch_folder
from presolder.render.files.standard import STANDARD
from presolder.render.files.toml import read_toml
from presolder.render.start import StoppedError
from running import presolder_here
from takes import SAMPLES

TAKE = str(SAMPLES / "phrase.flac")
SHORT = ("--design", "bare", "--travel", "0.5", "--rest", "0.1")
slow = pytest.mark.slow


def started(*arguments: str | Path, **environment: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "presolder", *map(str, arguments)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=os.environ | environment,
    )  # fmt: skip


def only_one_line(text: str) -> None:
    assert text.count("\n") == 1 and text.startswith("presolder: ") and len(text) < 300, text


# ---- files that ask for too much ------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        ".".join("a" * 20_000) + " = 1",
        "x = {" + " . ".join("a" * 20_000) + " = 1}",
        "[" + ".".join("a" * 20_000) + "]",
        "x = " + "[" * 20_000 + "]" * 20_000,
        f"x = 0x{'f' * 5000}",
        f"x = [{{y = 0x{'f' * 5000}}}]",
        f"x = {'9' * 5000}",
    ],
)
def test_toml_bombs(tmp_path: Path, text: str) -> None:
    """Each would take minutes, gigabytes or a traceback."""
    file = tmp_path / "bomb.toml"
    file.write_text(text)
    began = time.perf_counter()
    with pytest.raises(InputError):
        read_toml(file)
    assert time.perf_counter() - began < 2.0


def test_a_message_stays_short_and_plain(tmp_path: Path) -> None:
    """A key of 100 kB, with what a terminal takes for a command."""
    file = tmp_path / "long.toml"
    file.write_text('"\\u001b[31m' + "k" * 100_000 + '" = 1')
    done = presolder_here("need", "--rig", file)
    assert done.returncode == 2
    only_one_line(done.stderr)
    assert "\x1b" not in done.stderr and "nearest valid key" in done.stderr


def test_titles_are_plain_text(tmp_path: Path) -> None:
    text = Path(SAMPLES.parent / "render/rigs/humbucker-500k.toml").read_text("utf-8")
    head = text.index("title = ")
    rest = text[text.index("\n", head) :]
    for title, said in ((r"a\u0000b", "plain text"), ("x" * 300, "at most 200")):
        file = tmp_path / "rig.toml"
        file.write_text(f'{text[:head]}title = "{title}"{rest}', "utf-8")
        with pytest.raises(InputError, match=said):
            ps.rig(file)


@pytest.mark.thorough
@slow
def test_a_long_take_costs_no_memory(tmp_path: Path) -> None:
    """Eight minutes of stereo in 96 kHz, 740 MB as numbers, of which a second is rendered."""
    file = tmp_path / "long.flac"
    take, _ = soundfile.read(TAKE)
    with soundfile.SoundFile(file, "w", 96_000, 2, format="FLAC") as out:
        silence = np.zeros((96_000 * 60, 2))
        out.write(silence)
        out.write(np.column_stack([take, 0.5 * take[::-1]]))
        for _ in range(7):
            out.write(silence)
    measure = (
        "import runpy, sys\n"
        "sys.argv = sys.argv[1:]\n"
        "try: runpy.run_module('presolder', run_name='__main__')\n"
        # Of this process alone: the usual figure begins with its parent's.
        "finally: print(*(l.split()[1] for l in open('/proc/self/status') if l[:5] == 'VmHWM'),"
        " file=sys.stderr)"
    )
    command = [sys.executable, "-c", measure, "presolder"]
    arguments = [
        "render",
        str(file),
        *SHORT,
        "--rig",
        "humbucker-500k",
        "--out",
        str(tmp_path / "o"),
    ]
    done = subprocess.run([*command, *arguments], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "without 59.97 s of silence" in done.stderr
    assert int(done.stderr.splitlines()[-1]) < 500_000, done.stderr
    manifest = json.loads((tmp_path / "o" / "manifest.json").read_text())
    assert manifest["input"]["samples"] == pytest.approx(7.03 * 60 * 96_000, rel=0.01)
    refused = presolder_here("pack", file, "--out", tmp_path / "p")
    assert refused.returncode == 2 and "at most 30 s" in refused.stderr.splitlines()[-1]


@slow
def test_a_long_take_is_rendered_in_little_memory(tmp_path: Path) -> None:
    """Six minutes, 140 MB as numbers, and as much hum; of 260 MB. Of a second it needs 150."""
    file = tmp_path / "long.flac"
    noise = np.random.default_rng(0)
    with soundfile.SoundFile(file, "w", 48_000, 1, "PCM_16") as out:
        for _ in range(6):
            out.write(0.1 * noise.normal(size=60 * 48_000))

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_DATA, (260 << 20, 260 << 20))

    done = subprocess.run(
        [sys.executable, "-m", "presolder", "render", file, "--design", "cap", "--travel", "357",
         "--hum-db", "-50", "--bits", "16", "--out", tmp_path / "o"],
        capture_output=True, text=True, check=False, preexec_fn=limit,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert soundfile.info(tmp_path / "o" / "sweep" / "cap.wav").frames == 359 * 48_000


@pytest.mark.parametrize("kind", ["FLAC", "OGG", "WAV"])
def test_what_is_kept_on_disk_is_the_take(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    file = tmp_path / f"take.{kind.lower()}"
    soundfile.write(file, 0.1 * np.random.default_rng(0).normal(size=(150_000, 2)), 48_000)
    held = read_recording(file, 0.5, 2.5)
    monkeypatch.setattr(audio, "MOST_HELD_BYTES", 1_000_000)
    kept = read_recording(file, 0.5, 2.5)
    assert np.array_equal(kept.samples, held.samples) and kept.flaws == held.flaws
    assert not kept.samples.flags.writeable


def test_a_short_part_is_as_loud_as_it_is(tmp_path: Path) -> None:
    """Silence is 50 dB below the part's own peak, also of a part within what is read at a time."""
    file, rate = tmp_path / "soft.wav", 48_000
    tone = 1e-3 * np.sin(2 * np.pi * 220 * np.arange(rate) / rate)
    soundfile.write(file, np.concatenate([tone, np.zeros(rate // 2), tone]), rate, "PCM_24")
    # From the middle of silence, a quarter of a second of it.
    part = read_recording(file, 1.25, 1.8, trim=True)
    # The take begins 30 ms before its sound.
    assert part.samples.shape[1] == pytest.approx((0.3 + 0.03) * rate, abs=0.005 * rate)
    assert np.abs(part.samples).max() == pytest.approx(1e-3, rel=0.01)


@pytest.mark.parametrize("bits", [0x7FF0000000000001, 0x7FF0000000000000, 0x7FEFFFFFFFFFFFFF])
def test_floats_that_are_no_numbers(tmp_path: Path, bits: int) -> None:
    """A NaN that raises the processor's flag, infinity, and what overflows when channels add."""
    file = tmp_path / "odd.wav"
    soundfile.write(file, np.full((48_000, 2), 0.1), 48_000, subtype="DOUBLE")
    data = bytearray(file.read_bytes())
    at = data.index(b"data") + 8 + 16 * 1000
    data[at : at + 16] = 2 * bits.to_bytes(8, "little")
    file.write_bytes(data)
    for words in (("need", "--speaker", file), ("render", file, *SHORT, "--out", tmp_path / "o")):
        done = presolder_here(*words)
        assert done.returncode == 2, done.stdout
        assert done.stderr.count("\n") == 1 and "odd.wav" in done.stderr, done.stderr


def test_speakers_that_ask_for_too_much(tmp_path: Path) -> None:
    wide = tmp_path / "wide.flac"
    with soundfile.SoundFile(wide, "w", 48_000, 8, format="FLAC") as file:
        for second in range(30):
            file.write(np.full((48_000, 8), 0.1 if second == 0 else 0.0))
    with pytest.raises(InputError, match="at most 10 s"):
        ps.need("humbucker-500k", ps.Judging(speaker=str(wide)))
    assert read_impulse(wide, 2.0)[0].size < 48_000 * 4
    mad = tmp_path / "mad.wav"
    soundfile.write(mad, np.ones(100), 48_000)
    data = bytearray(mad.read_bytes())
    data[24:28] = (2_147_483_647).to_bytes(4, "little")
    mad.write_bytes(data)
    with pytest.raises(InputError, match="sample rate 2147483647 Hz; accepted"):
        ps.need("humbucker-500k", ps.Judging(speaker=str(mad)))


@pytest.mark.parametrize("kind", ["AIFF", "AU", "W64", "RF64", "WAV"])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_cut_short(tmp_path: Path, kind: str, subtype: str) -> None:
    whole, half = tmp_path / f"whole.{kind.lower()}", tmp_path / f"half.{kind.lower()}"
    audio = 0.1 * np.sin(np.arange(48_000) / 10)
    soundfile.write(whole, np.column_stack([audio, audio]), 48_000, subtype, format=kind)
    assert read_recording(whole).samples.shape == (2, 48_000)
    data = whole.read_bytes()
    half.write_bytes(data[: len(data) // 2])
    with pytest.raises(InputError, match="cut short|damaged"):
        read_recording(half)


def test_takes_that_no_one_hears(tmp_path: Path) -> None:
    """Raised to full scale, they would be noise."""
    soundfile.write(tmp_path / "quiet.wav", 1e-9 * np.ones(48_000), 48_000, "FLOAT")
    with pytest.raises(InputError, match="-180 dBFS, which is silence"):
        read_recording(tmp_path / "quiet.wav")


def test_a_part_of_a_take_is_that_part(tmp_path: Path) -> None:
    """Across blocks of reading, in formats that seek and in one that does not."""
    audio = np.random.default_rng(1).normal(0, 0.1, 300_000).astype(np.float32)
    audio[:150_000] = 0.0
    for name in ("a.wav", "a.flac", "a.ogg"):
        soundfile.write(tmp_path / name, audio, 48_000)
        whole = read_recording(tmp_path / name)
        part = read_recording(tmp_path / name, 1.0, 5.0, trim=True, longest_s=1.5)
        first = 150_000 - round(0.03 * 48_000)
        # A lossy one sounds a little before it begins.
        slack = 200 if name == "a.ogg" else 0
        assert part.samples.shape == (1, 72_001)
        assert abs(part.sample_count - (240_000 - first)) <= slack
        begins = 240_000 - part.sample_count
        held = whole.samples[:, begins : begins + 72_001]
        assert np.array_equal(part.samples, held)
        assert part.cut.startswith("1 to 5 s of it, without 2.")


@pytest.mark.parametrize(
    ("dials", "said"),
    [("5,5.0000001", "the same to a hand"), ("0.00001", "between 0.01 and 10"), ("5,5", "same")],
)
def test_dials_whose_files_would_be_one(tmp_path: Path, dials: str, said: str) -> None:
    done = presolder_here("pack", TAKE, "--hold", dials, "--out", tmp_path / "out")
    assert done.returncode == 2 and said in done.stderr
    assert list(tmp_path.iterdir()) == []


# ---- ffmpeg ------------------------------------------------------------------------


def fake_ffmpeg(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    folder = tmp_path / "bin"
    folder.mkdir()
    program = folder / "ffmpeg"
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")


def test_ffmpeg_that_writes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fake_ffmpeg(tmp_path, monkeypatch, "cat > /dev/null; exit 0")
    options = ("--design", "bare", "--hold", "5", "--travel", "0.5", "--out", tmp_path / "out")
    done = presolder_here("pack", TAKE, *options, "--listening", "m4a")
    assert done.returncode == 2 and "ffmpeg wrote nothing" in done.stderr
    assert not (tmp_path / "out").exists()


def test_ffmpeg_that_hangs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fake_ffmpeg(tmp_path, monkeypatch, "exec sleep 60")
    monkeypatch.setattr(ffmpeg, "_PATIENCE_SECONDS", 0.3)
    began = time.perf_counter()
    with pytest.raises(OSError, match="stopped after"):
        ffmpeg.run_ffmpeg(["-version"])
    assert time.perf_counter() - began < 5


def test_a_script_for_ffmpeg_is_no_take(tmp_path: Path) -> None:
    """By its ending alone ffmpeg would read the file that it names."""
    soundfile.write(tmp_path / "secret.wav", 0.1 * np.ones(48_000), 48_000)
    script = tmp_path / "take.m4a"
    script.write_text("ffconcat version 1.0\nfile secret.wav\n")
    with pytest.raises(InputError, match="ffmpeg cannot decode it"):
        read_recording(script)


# ---- being stopped -----------------------------------------------------------------


@slow
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_signals_leave_nothing(tmp_path: Path, number: signal.Signals) -> None:
    """One line, 128 + the signal's number; also when somebody is impatient."""
    running = started("render", TAKE, "--travel", "3000", "--out", tmp_path / "out")
    while not any(tmp_path.glob(".out.*")) and running.poll() is None:
        time.sleep(0.02)
    for _ in range(3):
        running.send_signal(number)
        time.sleep(0.01)
    out, errors = running.communicate(timeout=60)
    assert running.returncode == 128 + number
    assert out == "" and errors == "presolder: interrupted; nothing half-written is left\n"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
@pytest.mark.parametrize("swallowing", ["Deaf()", "careless()"])
def test_a_signal_where_errors_are_swallowed_stops_all_the_same(
    number: signal.Signals, swallowing: str
) -> None:
    """As where an object is thrown away, or a library takes any error for its own."""
    program = """
import importlib, time
from presolder.render.start import main

class Deaf:
    def __del__(self):
        print("deaf", flush=True)
        time.sleep(20)

def careless():
    try:
        print("deaf", flush=True)
        time.sleep(20)
    except:
        pass

def run():
    SWALLOWING
    try:
        time.sleep(20)
    finally:
        # Longer than until the stop comes again.
        time.sleep(0.4)
        print("cleared")
    return 0

importlib.import_module("presolder.render.cli").run = run
main()
""".replace("SWALLOWING", swallowing)
    running = subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert running.stdout is not None and running.stdout.readline() == "deaf\n"
    running.send_signal(number)
    out, errors = running.communicate(timeout=10)
    assert running.returncode == 128 + number and out == "cleared\n"
    assert errors == "presolder: interrupted; nothing half-written is left\n"


def catches(process: int, number: signal.Signals) -> bool:
    """Whether a process has a handler for a signal; of SIGTERM the interpreter itself has none."""
    told = Path(f"/proc/{process}/status").read_text()
    (caught,) = (line.split()[1] for line in told.splitlines() if line.startswith("SigCgt"))
    return bool(int(caught, 16) >> (number - 1) & 1)


def test_a_signal_of_which_something_else_is_made_stops_all_the_same() -> None:
    """As the compiler makes a SyntaxError of one that comes while it looks up a character."""
    program = """
import importlib, os, signal
from presolder.render.start import main

def run():
    try:
        os.kill(os.getpid(), signal.SIGTERM)
    except BaseException:
        raise SyntaxError from None

importlib.import_module("presolder.render.cli").run = run
main()
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=False)
    assert done.returncode == 128 + signal.SIGTERM
    assert done.stderr == b"presolder: interrupted; nothing half-written is left\n"
    # What is no signal's work is not hidden.
    done = subprocess.run(
        [sys.executable, "-c", program.replace("os.kill", "[].index")],
        capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1 and done.stderr.endswith(b"SyntaxError: None\n")


@slow
def test_stopped_while_loading(tmp_path: Path) -> None:
    """Whenever it comes after the interpreter's own start: one line, nothing left."""
    # A second is enough for the whole of it.
    for wait in np.linspace(0.0, 0.5, 6):
        running = started("pack", TAKE, "--out", tmp_path / "out.zip")
        while not catches(running.pid, signal.SIGTERM) and running.poll() is None:
            time.sleep(0.005)
        time.sleep(wait)
        running.send_signal(signal.SIGINT)
        _, errors = running.communicate(timeout=60)
        assert running.returncode == 130, (wait, errors)
        assert errors == "presolder: interrupted; nothing half-written is left\n", wait
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("making", [
    lambda place: new_folder(place / "out", force=False),
    lambda place: new_file(place / "out.csv"),
    lambda _: new_file(STANDARD),
    lambda _: scratch_folder(),
])  # fmt: skip
def test_a_signal_as_soon_as_something_is_there_leaves_nothing(
    making: Callable[[Path], AbstractContextManager[Path]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Python hears of it when the call that made it is over, and before anything is noted."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    made = []

    def then_stopped(call: Callable[..., Any]) -> Callable[..., Any]:
        def make(path: Any, *given: Any, **named: Any) -> Any:
            call(path, *given, **named)
            if tmp_path in Path(path).parents:
                made.append(path)
                raise StoppedError(signal.SIGTERM)

        return make

    with monkeypatch.context() as patched:
        patched.setattr(os, "mkdir", then_stopped(os.mkdir))
        patched.setattr(Path, "touch", then_stopped(Path.touch))
        with pytest.raises(StoppedError), making(tmp_path):
            pass
    assert len(made) == 1 and list(tmp_path.iterdir()) == []


@slow
def test_a_killed_run_is_cleared_away_by_the_next(tmp_path: Path) -> None:
    out = tmp_path / "out"
    running = started("render", TAKE, "--travel", "3000", "--out", out)
    # Until it is held and written into: one that is taken away before is only made again.
    while not any(tmp_path.glob(".out.*/*")) and running.poll() is None:
        time.sleep(0.02)
    (mine,) = tmp_path.iterdir()
    # Whose run still goes on is left alone.
    with new_folder(out, force=False) as scratch:
        (scratch / "a").write_text("a")
        assert mine.exists()
    shutil.rmtree(out)
    running.kill()
    running.communicate(timeout=60)
    assert mine.exists()
    with new_folder(out, force=False) as scratch:
        (scratch / "a").write_text("a")
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


# ---- pipes, encodings, permissions --------------------------------------------------


def test_a_reader_that_has_had_enough() -> None:
    done = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m presolder rigs | true; echo ${{PIPESTATUS[0]}}"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.stdout, done.stderr) == ("0\n", "")


def test_output_that_nobody_takes() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "presolder", "rigs"], stdout=full, stderr=subprocess.PIPE,
            text=True, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    only_one_line(done.stderr)
    assert "No space left" in done.stderr


@pytest.mark.thorough
def test_terminals_without_an_ohm_sign() -> None:
    running = subprocess.run(
        [sys.executable, "-m", "presolder", "sheet", "--design", "68k + 1n5"],
        capture_output=True, check=False,
        env=os.environ | {"PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"},
    )  # fmt: skip
    assert running.returncode == 0, running.stderr
    assert b"kohm" in running.stdout


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    for option in (b"--note", b"--workshop", b"--out", b"--rig"):
        done = subprocess.run(
            [sys.executable.encode(), b"-m", b"presolder", b"pack", TAKE.encode(), option, b"\xff\xfe"],
            capture_output=True, text=True, check=False, cwd=tmp_path,
        )  # fmt: skip
        assert done.returncode == 2
        only_one_line(done.stderr)
        assert "is not text in UTF-8" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "said",
    ['name = "a"\noptions = { series = "E\\u000012" }', 'options = { "se\\u0000ries" = "E12" }'],
)
def test_a_zero_character_in_a_batch(tmp_path: Path, said: str) -> None:
    """No system can hand one to a process."""
    jobs = tmp_path / "jobs.toml"
    jobs.write_text(f'[[job]]\ncommand = "tailor"\nrigs = ["humbucker-500k"]\n{said}\n')
    done = presolder_here("batch", str(jobs), "--out", str(tmp_path / "out"))
    assert done.returncode == 2
    only_one_line(done.stderr)
    assert "[[job]] 1" in done.stderr and "zero character" in done.stderr
    assert list(tmp_path.iterdir()) == [jobs]


def test_names_that_are_too_long(tmp_path: Path) -> None:
    name = "x" * 300
    for arguments in (
        ("render", tmp_path / f"{name}.wav", "--out", tmp_path / "out"),
        ("render", TAKE, *SHORT, "--out", tmp_path / name),
        ("need", "--rig", tmp_path / f"{name}.toml"),
        ("curves", "--design", "bare", "--csv", tmp_path / f"{name}.csv"),
        ("sheet", "--design", "68k + 1n5", "--out", tmp_path / f"{name}.html"),
        ("pack", TAKE, "--out", tmp_path / f"{name}.zip"),
    ):
        done = presolder_here(*arguments)
        assert done.returncode == 2, arguments[0]
        only_one_line(done.stderr)
    assert list(tmp_path.iterdir()) == []
    # As long as a file system takes: the scratch file's own name must fit too.
    longest = tmp_path / f"{'x' * 250}"
    with new_folder(longest, force=False) as scratch:
        (scratch / "a").write_text("a")
    assert longest.is_dir()


def test_doctor(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    done = presolder_here("doctor", "--json")
    found = json.loads(done.stdout)
    assert found["well"] and done.returncode == 0
    assert "numpy" in found["versions"]
    broken = tmp_path / "rig.toml"
    broken.write_text("x = 1")
    monkeypatch.setenv("PRESOLDER_RIG", str(broken))
    monkeypatch.setenv("PATH", str(tmp_path))
    done = presolder_here("doctor")
    assert done.returncode == 3
    lines = dict(line.split("  ", 1) for line in done.stdout.splitlines()[3:])
    assert "unknown key" in lines["own rig"]
    assert "not installed" in lines["ffmpeg"]
    assert lines["compiled loops"].strip() == "works"
    failing = tmp_path / "ffmpeg"
    failing.write_text("#!/bin/sh\nexit 1\n")
    failing.chmod(0o755)
    assert ffmpeg_trouble() == "ffmpeg is there and does not run"
    failing.write_text("#!/bin/sh\necho ' A....D opus '\n")
    assert ffmpeg_trouble() == "this ffmpeg cannot write M4A"
    with monkeypatch.context() as full:
        full.setattr(shutil, "disk_usage", lambda _folder: SimpleNamespace(free=5_200_000))
        full.setattr(tempfile, "tempdir", str(tmp_path))
        assert scratch_trouble() == f"{tmp_path} has 5 MB free; a long render takes a gigabyte"
    in_the_way = tmp_path / "file"
    in_the_way.write_text("")
    monkeypatch.setattr(tempfile, "tempdir", str(in_the_way / "scratch"))
    assert scratch_trouble() == f"{in_the_way / 'scratch'} cannot be written: Not a directory"


@pytest.mark.thorough
def test_a_pack_leaves_no_temporary_files(tmp_path: Path) -> None:
    """Neither in its place nor in the folder for such, and the zip is whole."""
    folder = tmp_path / "tmp"
    folder.mkdir()
    options = ("--design", "bare", "--hold", "5", "--travel", "0.5", "--out", tmp_path / "p.zip")
    running = started("pack", TAKE, *options, TMPDIR=str(folder))
    assert running.communicate(timeout=120)[0].startswith(str(tmp_path / "p.zip"))
    assert list(folder.iterdir()) == []
    with contextlib.closing(zipfile.ZipFile(tmp_path / "p.zip")) as archive:
        assert archive.testzip() is None


# ---- silent nonsense ---------------------------------------------------------------


def test_two_outputs_in_one_place(tmp_path: Path) -> None:
    for options, said in (
        (("--csv", "-", "--json"), "go to standard output"),
        (("--csv", "a.svg", "--plot", "a.svg"), "are one file"),
    ):
        done = presolder_here("curves", "--design", "bare", *options, cwd=tmp_path)
        assert done.returncode == 2 and said in done.stderr
        assert list(tmp_path.iterdir()) == []
    both = ("--csv", "-", "--plot", "a.svg", "--design", "bare", "--frequency", "1000")
    done = presolder_here("curves", *both, cwd=tmp_path)
    assert done.returncode == 0 and done.stdout.startswith("design,dial")
    assert (tmp_path / "a.svg").exists()


@pytest.mark.parametrize(
    "command", [("need", "--left-at"), ("curves", "--design", "bare", "--show")]
)
def test_a_dial_beside_silence(command: tuple[str, ...]) -> None:
    done = presolder_here(*command, "1e-320", "--json")
    assert done.returncode == 2 and "nearer to 0 than any hand turns" in done.stderr


def test_names_that_a_spreadsheet_would_run(tmp_path: Path) -> None:
    designs = tmp_path / "d.toml"
    designs.write_text('[[design]]\nname = "=1+1"\nnetwork = "1n"\n')
    done = presolder_here(
        "curves", "--designs", designs, "--csv", "-", "--frequency", "1000", "--show", "5"
    )
    assert done.stdout.splitlines()[1].startswith("'=1+1,5,1000,")


def test_names_that_a_system_keeps_for_itself() -> None:
    assert file_stems(["con", "AUX", "com1", "cone"]) == ["con_", "aux_", "com1_", "cone"]


def test_a_gesture_may_have_ten_thousand_rows(tmp_path: Path) -> None:
    rows = [f"{at / 100},5" for at in range(10_001)]
    for count in (10_000, 10_001):
        file = tmp_path / f"{count}.csv"
        file.write_text("\n".join(["time_s,dial", *rows[:count]]))
        if count == 10_000:
            assert len(ps.gesture(file).times_s) == count
        else:
            with pytest.raises(InputError, match="more than 10000 rows"):
                ps.gesture(file)


@pytest.mark.slow
def test_a_search_too_large_to_try_all_says_so() -> None:
    asked = ("--topology", "33k + (150k || 1n)", "--series", "E24", "--any-values")
    words = presolder_here("tailor", *asked).stdout
    assert "by a grid that closes in" in words.splitlines()[0]
    words = presolder_here("tailor", "--topology", "1n").stdout
    assert "grid" not in words
