"""``-`` is standard input and output wherever a file is read or written; pipes are files too."""

import io
import json
import os
import subprocess
import sys
import threading
import zipfile
from pathlib import Path

import pytest

from presolder.models.errors import InputError
from presolder.render.files import standard
from presolder.render.files.rig_file import built_in_rigs
from running import Completed, presolder_here
from takes import SAMPLES

TAKE = SAMPLES / "phrase.flac"
SWEEP = ("--design", "cap", "--travel", "0.3", "--rest", "0", "--json")
CASES = ("need", "--show", "8,4", "--plays", "full", "--json")


def fed(content: bytes, *arguments: str | Path, cwd: Path | None = None) -> Completed:
    """A command in a process of its own, since standard input is one."""
    done = subprocess.run(
        [sys.executable, "-m", "presolder", *map(str, arguments)],
        input=content, capture_output=True, check=False, cwd=cwd,
    )  # fmt: skip
    return subprocess.CompletedProcess(
        done.args, done.returncode, done.stdout.decode("utf-8", "replace"), done.stderr.decode()
    )


@pytest.mark.slow
def test_a_take_through_a_pipe_is_the_take(tmp_path: Path) -> None:
    named = presolder_here("render", TAKE, *SWEEP, "--out", tmp_path / "named")
    piped = fed(TAKE.read_bytes(), "render", "-", *SWEEP, cwd=tmp_path)
    assert piped.returncode == 0, piped.stderr
    # Where no name is known, the folder is named after what it is.
    a, b = (tmp_path / folder / "sweep" / "cap.wav" for folder in ("named", "take-listen"))
    assert a.read_bytes() == b.read_bytes()
    sums = [json.loads(done.stdout)["input"]["sha256"] for done in (named, piped)]
    assert sums[0] == sums[1]


@pytest.mark.skipif(os.name != "posix", reason="named pipes are of POSIX")
def test_a_named_pipe_as_a_shell_substitutes_it(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=lambda: pipe.write_bytes(TAKE.read_bytes()))
    writer.start()
    done = presolder_here("render", pipe, *SWEEP, "--out", tmp_path / "out")
    writer.join()
    assert done.returncode == 0, done.stderr


@pytest.mark.slow
def test_text_through_a_pipe() -> None:
    named = presolder_here(*CASES, "--rig", "single-coil-250k")
    path = built_in_rigs()["single-coil-250k"]
    piped = fed(path.read_bytes(), *CASES, "--rig", "-")
    assert piped.returncode == 0, piped.stderr
    (one,), (other,) = (json.loads(done.stdout)["situations"] for done in (piped, named))
    assert one["bare"] == other["bare"]
    designs = b'[[design]]\nname = "mine"\nnetwork = "1n"\n'
    assert "mine" in fed(designs, "curves", "--designs", "-").stdout


@pytest.mark.parametrize(
    ("content", "words", "said"),
    [
        (b"", ("need", "--rig", "-"), "standard input: is empty, or was read already"),
        (b"\xff\xfe", ("need", "--rig", "-"), "standard input: not a text file (UTF-8 expected)"),
        (b"a" * 1_000_001, ("need", "--rig", "-"), "standard input: gives more than 1,000,000"),
        (b"no sound", ("render", "-"), "standard input: cannot be read as audio"),
        (TAKE.read_bytes()[:5000], ("render", "-"), "standard input: "),
    ],
)
def test_what_cannot_be_used_is_one_line(
    content: bytes, words: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    done = fed(content, *words, cwd=tmp_path)
    assert done.returncode == 2 and done.stderr.startswith(f"presolder: {said}"), done.stderr
    assert done.stderr.count("\n") == 1 and not list(tmp_path.iterdir())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "begins"),
    [
        (("curves", "--design", "cap", "--csv", "-"), "design,dial,frequency_hz,gain_db"),
        (("curves", "--design", "cap", "--plot", "-"), "<?xml"),
        (("init", "--typical", "--out", "-"), "# A rig for presolder"),
        (("sheet", "--design", "cap", "--out", "-"), "<!doctype html>"),
        (
            (
                "taper", "--lugs", "--ohms", "10=500k", "--ohms", "8=300k", "--ohms", "6=150k",
                "--ohms", "4=70k", "--ohms", "2=20k", "--out", "-",
            ),
            "dial,",
        ),
    ],
)  # fmt: skip
def test_standard_output_holds_the_file_and_nothing_else(
    words: tuple[str, ...], begins: str, tmp_path: Path
) -> None:
    done = presolder_here(*words, cwd=tmp_path)
    assert done.returncode == 0 and done.stdout.startswith(begins), (done.stdout, done.stderr)
    assert not list(tmp_path.iterdir())
    there = tmp_path / f"file{'.html' if words[0] == 'sheet' else '.svg'}"
    if words[0] not in ("init", "taper"):
        presolder_here(*words[:-1], there)
        assert there.read_text("utf-8") == done.stdout


@pytest.mark.thorough
def test_a_pack_as_a_zip_on_standard_output(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "presolder", "pack", TAKE, "--design", "cap", "--hold", "5",
         "--travel", "2", "--light", "--out", "-"],
        capture_output=True, check=True, cwd=tmp_path,
    )  # fmt: skip
    with zipfile.ZipFile(io.BytesIO(done.stdout)) as archive:
        assert archive.testzip() is None
        assert {Path(name).name for name in archive.namelist()} >= {"index.html", "pack.json"}
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "words",
    [
        ("render", TAKE, "--out", "-"),
        ("demo", "--out", "-"),
        ("pack", TAKE, "--out", "-", "--json"),
        ("sheet", "--design", "cap", "--out", "-", "--json"),
        ("curves", "--csv", "-", "--plot", "-"),
    ],
)
def test_what_cannot_go_to_standard_output(words: tuple[str, ...], tmp_path: Path) -> None:
    done = presolder_here(*words, cwd=tmp_path)
    assert done.returncode == 2 and "standard output" in done.stderr and done.stdout == ""
    assert not list(tmp_path.iterdir())


def test_no_archive_is_thrown_at_a_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive, text = tmp_path / "a.zip", tmp_path / "a.csv"
    archive.write_bytes(b"PK\3\4\0\0")
    text.write_text("a,b\n")
    terminal = io.TextIOWrapper(io.BytesIO())
    monkeypatch.setattr(terminal, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys, "stdout", terminal)
    with pytest.raises(InputError, match="is a terminal, and this is no text"):
        standard.write_to_standard(archive)
    standard.write_to_standard(text)
    assert terminal.buffer.getvalue() == b"a,b\n"  # type: ignore[attr-defined]


def test_an_endless_pipe_is_left_off(monkeypatch: pytest.MonkeyPatch) -> None:
    class Endless(io.RawIOBase):
        given = 0

        def read(self, size: int = -1) -> bytes:
            self.given += size
            return b"x" * size

    endless = Endless()
    monkeypatch.setattr(sys, "stdin", type("Standard", (), {"buffer": endless})())
    with (
        pytest.raises(InputError, match="gives more than"),
        standard.readable(Path("-"), 5_000_000),
    ):
        pass
    assert endless.given < 8_000_000
