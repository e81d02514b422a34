"""Disks that are full: where results go, where scratch goes.

Real ones: small file systems in memory, which only root may mount. Where that is not
allowed, a limit on the size of files stands in, and a line of the summary says so.
"""

import base64
import io
import os
import resource
import signal
import subprocess
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from presolder.render.files.ffmpeg import run_ffmpeg
from presolder.render.listening.live import _as_flac
from running import Completed
from takes import SAMPLES

TAKE = SAMPLES / "phrase.flac"
SWEEP = ("--design", "bare", "--design", "cap", "--travel", "2", "--rest", "0")
DISK_BYTES = 300_000


@dataclass(frozen=True)
class Disk:
    """A small disk, and what stands in for its size where none could be mounted."""

    folder: Path
    limit: Callable[[], None] | None

    def run(self, *arguments: str | Path, given: bytes = b"", **changed: str) -> Completed:
        """A command that works in this folder."""
        done = subprocess.run(
            [sys.executable, "-m", "presolder", *map(str, arguments)],
            cwd=self.folder, env=os.environ | changed, input=given, capture_output=True,
            check=False, preexec_fn=self.limit,
        )  # fmt: skip
        return subprocess.CompletedProcess(
            done.args, done.returncode, done.stdout.decode("utf-8", "replace"), done.stderr.decode()
        )

    def fill(self) -> None:
        """Leave not a byte."""
        if self.limit is not None:
            return
        with (self.folder / "full").open("wb", buffering=0) as file:
            try:
                while True:
                    file.write(b"\0" * 4096)
            except OSError:
                pass

    def holds(self) -> set[str]:
        return {path.name for path in self.folder.iterdir()} - {"full"}


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", str(folder)]
    if os.name == "posix" and os.geteuid() == 0:
        mounted = subprocess.run(mount, capture_output=True, check=False).returncode == 0
    else:
        mounted = False
    if mounted:
        yield Disk(folder, None)
        subprocess.run(["umount", str(folder)], check=True)
        return
    warnings.warn("no disk can be mounted here: a limit of size stands in", stacklevel=1)

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (DISK_BYTES, DISK_BYTES))

    yield Disk(folder, limit)


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        ("render", TAKE, *SWEEP, "--out", "out"),
        ("render", TAKE, *SWEEP, "--stairs", "--ab", "--out", "out"),
        ("pack", TAKE, "--design", "cap", "--hold", "5", "--travel", "2", "--out", "out.zip"),
        *(
            pytest.param(("pack", TAKE, "--design", "cap", *words), marks=pytest.mark.thorough)
            for words in (
                ("--hold", "5", "--travel", "2", "--out", "out"),
                ("--single-file", "--out", "out.html"),
            )
        ),
    ],
    ids=lambda words: f"{words[0]} {words[-1]}",
)
def test_what_does_not_fit_leaves_nothing(disk: Disk, words: tuple[str, ...]) -> None:
    done = disk.run(*words)
    assert done.returncode == 2, done
    assert done.stderr.startswith(f"presolder: {words[-1]}: cannot be written: ")
    assert done.stderr.count("\n") == 1 and len(done.stderr) <= 300
    assert disk.holds() == set()


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        ("curves", "--design", "cap", "--csv", "a.csv"),
        ("curves", "--design", "cap", "--plot", "a.svg"),
        pytest.param(("sheet", "--design", "cap", "--out", "a.html"), marks=pytest.mark.thorough),
        ("init", "--typical", "--out", "a.toml"),
        pytest.param(
            ("tailor", "--topology", "cap", "--series", "E6", "--plot", "a.png"),
            marks=pytest.mark.thorough,
        ),
    ],
    ids=lambda words: f"{words[0]} {words[-1]}",
)
def test_a_full_disk_takes_no_file(disk: Disk, words: tuple[str, ...]) -> None:
    if disk.limit is not None:
        pytest.xfail("a limit of size takes small files")
    disk.fill()
    done = disk.run(*words)
    assert (done.returncode, done.stdout) == (2, ""), done
    assert done.stderr == f"presolder: {words[-1]}: cannot be written: No space left on device\n"
    assert disk.holds() == set()


@pytest.mark.slow
def test_full_scratch_is_not_called_a_full_place(disk: Disk, tmp_path: Path) -> None:
    """What goes through scratch is named for what it is, and nothing is left in either place."""
    m4a = tmp_path / "take.m4a"
    run_ffmpeg(["-i", f"file:{TAKE}", "-c:a", "aac", f"file:{m4a}"])
    there = {"TMPDIR": str(disk.folder)}
    out = tmp_path / "out"
    for words, given, named in (
        (("render", m4a, *SWEEP, "--out", out), b"", str(m4a)),
        (("render", "-", *SWEEP, "--out", out), b"\0" * 2 * DISK_BYTES, "standard input"),
    ):
        done = disk.run(*words, given=given, **there)
        assert done.returncode == 2 and done.stderr.count("\n") == 1, done
        assert done.stderr.startswith(f"presolder: {named}: ")
        reason = "No space left on device" if disk.limit is None else "File too large"
        assert reason in done.stderr
        assert disk.holds() == set() and not out.exists()


def test_without_any_scratch_it_goes_on(disk: Disk, tmp_path: Path) -> None:
    """Where nothing needs it, or another place serves."""
    disk.fill()
    done = disk.run(
        "render",
        TAKE,
        *SWEEP,
        "--out",
        tmp_path / "out",
        TMPDIR=str(disk.folder),
        TMP=str(disk.folder),
    )
    assert done.returncode == 0, done.stderr
    assert "Exception ignored" not in done.stderr


def test_a_pages_sound_needs_no_scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    sound = 0.5 * np.sin(np.arange(48_000) / 9)
    back, rate = soundfile.read(io.BytesIO(base64.b64decode(_as_flac(sound, 48_000))))
    assert rate == 48_000 and back == pytest.approx(sound, abs=2.0**-20)
