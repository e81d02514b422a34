"""Nonsense in, one clear error out: fuzzing, damaged files, full disks, Ctrl-C."""

import contextlib
import os
import resource
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from presolder.models.errors import InputError
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import MOST_PARTS, leaves
from presolder.models.instrument.quantities import parse_quantity
from presolder.render.files.audio import read_recording
from presolder.render.files.designs import resolve_design
from presolder.render.files.points import read_spectrum
from takes import SAMPLES

pytestmark = pytest.mark.slow

MANY = settings(max_examples=800, deadline=None)
PIECES = st.sampled_from(
    ["91k", "820p", "4n7", "1M", "gang(", "250k", "linear", "zero", ",", "+", "||", "∥", "(", ")",
     " ", "Ω", "µ", "1e9", "-", "\0", "🎸", "5 pF", "R", "audio", "full", "0.2", "\n"]
)  # fmt: skip


@MANY
@given(st.one_of(st.text(max_size=60), st.lists(PIECES, max_size=25).map("".join)))
def test_expressions_never_raise_anything_else(text: str) -> None:
    try:
        network = parse_expression(text)
    except InputError as error:
        assert str(error).strip()
    else:
        assert 1 <= len(leaves(network)) <= MOST_PARTS
    with contextlib.suppress(InputError):
        resolve_design(text)


@pytest.mark.parametrize("text", ["(" * 5000, "1k+" * 5000, "gang(" * 300, "1k || " * 40 + "1k"])
def test_deep_and_long_expressions(text: str) -> None:
    with pytest.raises(InputError):
        parse_expression(text)


@MANY
@given(
    st.one_of(st.text(max_size=12), st.floats(), st.integers(), st.none(), st.binary(max_size=4))
)
def test_quantities_never_raise_anything_else(value: object) -> None:
    for unit in ("ohm", "farad", "henry"):
        with contextlib.suppress(InputError):
            assert np.isfinite(parse_quantity(value, unit))  # type: ignore[arg-type]


def test_unusual_but_valid_wav_files(tmp_path: Path) -> None:
    audio = np.random.default_rng(0).normal(size=9000) * 0.1
    for subtype, step in (
        ("PCM_U8", 1 / 128),
        ("PCM_16", 1e-4),
        ("PCM_32", 1e-7),
        ("DOUBLE", 1e-15),
    ):
        soundfile.write(tmp_path / "a.wav", audio, 48_000, subtype)
        assert np.abs(read_recording(tmp_path / "a.wav").samples - audio).max() <= step
    whole = (tmp_path / "a.wav").read_bytes()
    odd = whole[:12] + b"note" + struct.pack("<I", 7) + b"unknown\0" + whole[12:]
    (tmp_path / "odd.wav").write_bytes(odd)
    assert np.array_equal(read_recording(tmp_path / "odd.wav").samples[0], audio)


def test_headers_that_promise_too_much(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", np.ones(44_100) * 0.1, 44_100)
    whole = (tmp_path / "a.wav").read_bytes()
    (tmp_path / "cut.wav").write_bytes(whole[:40_000])
    two_hours = bytearray(whole[:20_044])
    two_hours[40:44] = struct.pack("<I", 7200 * 44_100 * 2)
    (tmp_path / "long.wav").write_bytes(two_hours)
    for name in ("cut.wav", "long.wav"):
        with pytest.raises(InputError, match="cut short: its header promises"):
            read_recording(tmp_path / name)
    piped = bytearray(whole)
    piped[40:44] = struct.pack("<I", 0xFFFFFFFF)
    (tmp_path / "piped.wav").write_bytes(piped)
    assert read_recording(tmp_path / "piped.wav").samples.shape == (1, 44_100)


def test_measurements_over_frequency(tmp_path: Path) -> None:
    """Frequencies above 0, however low; gains of any sign."""
    path = tmp_path / "sweep.csv"
    path.write_text("frequency_hz,gain_db\n0.5,-3\n20,-60.5\n1e4,6\n")
    found = read_spectrum(path, ("frequency_hz", "gain_db"))
    assert found.tolist() == [[0.5, 20.0, 1e4], [-3.0, -60.5, 6.0]]
    for rows, message in (
        ("0,1\n", "frequency_hz = 0 must be above 0"),
        ("20,1\n-5,1\n", "frequency_hz = -5 must be above 0"),
        ("", "holds no measurements"),
    ):
        path.write_text("frequency_hz,gain_db\n" + rows)
        with pytest.raises(InputError, match=message) as caught:
            read_spectrum(path, ("frequency_hz", "gain_db"))
        assert str(path) in str(caught.value)


@pytest.mark.parametrize("path", ["/dev/null", "/dev/zero", "/"])
def test_devices_and_folders_are_not_recordings(path: str) -> None:
    with pytest.raises(InputError, match="not a regular file"):
        read_recording(Path(path))


def command(out: Path, *extra: str) -> list[str]:
    take = str(SAMPLES / "phrase.flac")
    return [sys.executable, "-m", "presolder.render", "render", take, "--out", str(out), *extra]


def test_full_disk_leaves_nothing(tmp_path: Path) -> None:
    """A file-size limit stands in for the full disk: writes fail half-way."""

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))

    out = tmp_path / "out"
    result = subprocess.run(
        command(out), capture_output=True, text=True, check=False, preexec_fn=limit
    )
    assert result.returncode == 2
    assert "cannot be written" in result.stderr
    assert result.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_full_disk_while_writing_wav_leaves_nothing(tmp_path: Path) -> None:
    from presolder.render.files.audio import write_audio

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, before[1]))
    try:
        with pytest.raises(OSError, match="failed"):
            write_audio(tmp_path / "a.wav", [np.zeros((1, 1 << 17))], 48_000, 1, "24")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)


@pytest.mark.parametrize("out", ["/proc/presolder", "/dev/null", "/dev/null/out"])
def test_unwritable_places(out: str) -> None:
    result = subprocess.run(command(Path(out)), capture_output=True, text=True, check=False)
    assert result.returncode == 2
    assert out in result.stderr
    assert result.stderr.count("\n") == 1


def test_ctrl_c_leaves_nothing(tmp_path: Path) -> None:
    out = tmp_path / "out"
    process = subprocess.Popen(
        command(out, "--travel", "3000"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    while not any(tmp_path.glob(".out.*")) and process.poll() is None:
        time.sleep(0.05)
    os.kill(process.pid, signal.SIGINT)
    _, errors = process.communicate(timeout=30)
    assert process.returncode == 130
    assert errors == "presolder: interrupted; nothing half-written is left\n"
    assert list(tmp_path.iterdir()) == []
