"""What people see on a terminal: nothing wider than it, no word broken, and what to do next."""

import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest
from click.testing import CliRunner

import presolder as ps
from presolder.render.cli import cli
from presolder.render.report.table import Table, folded
from running import in_process, presolder_here

BOLD = re.compile(r"\x1b\[[0-9;?]*[a-zA-Z]")


def on_terminal(*arguments: str | Path, width: int = 80, **variables: str) -> str:
    """What a terminal of this width is sent."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, width, 0, 0))
    kept = {key: value for key, value in os.environ.items() if key not in ("COLUMNS", "NO_COLOR")}
    with subprocess.Popen(
        [sys.executable, "-m", "presolder", *map(str, arguments)], stdin=theirs, stdout=theirs, stderr=theirs,
        env={**kept, "TERM": "xterm", **variables},
    ) as process:  # fmt: skip
        os.close(theirs)
        sent = b""
        while True:
            try:
                more = os.read(ours, 65536)
            except OSError:
                break
            if not more:
                break
            sent += more
        process.wait()
    os.close(ours)
    return sent.decode()


def _marks(at: int) -> pytest.MarkDecorator:
    """Some in the suite; the others are tables and sentences like these."""
    return pytest.mark.slow if at in (3, 6) else pytest.mark.thorough


COMMANDS = (
    ("compare", "--design", "cap", "--design", "gang-parallel-strong", "--plays", "swells"),
    ("tailor", "--topology", "series", "--series", "E6"),
    ("need",),
    ("sheet", "--design", "gang-parallel-strong"),
    ("need", "--rig", "split-humbucker"),
    ("curves", "--design", "series-parallel-strong"),
    ("doctor",),
    ("designs",),
    ("rigs",),
    ("order", "--job", "humbucker-500k=series"),
    ("need", "--rig", "no-such-rig-at-all"),
    ("--help",),
    ("advise", "--help"),
)


@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [
        pytest.param(one, marks=() if at in (0, 11) else _marks(at))
        for at, one in enumerate(COMMANDS)
    ],
    ids=" ".join,
)
def test_nothing_is_wider_than_the_terminal_and_no_word_is_broken(command: tuple[str, ...]) -> None:
    quiet = () if command[-1] == "--help" else ("-q",)
    plain = BOLD.sub("", on_terminal(*command, *quiet))
    lines = plain.splitlines()
    assert max(map(len, lines)) <= 80, max(lines, key=len)
    # Into a pipe, each sentence stands on its line.
    piped = presolder_here(*command)
    known = set((piped.stdout + piped.stderr).split())
    strange = {word for line in lines for word in line.split()} - known
    assert not {word for word in strange if not word.endswith((";", ":"))} or command[-1] in (
        "--help", "doctor",
    ), strange  # fmt: skip


@pytest.mark.slow
def test_colour_is_sparing_and_never_alone() -> None:
    """Heads are bold on a terminal, with NO_COLOR and into a pipe nothing is; the text is one."""
    command = ("designs", "-q")
    bold, plain = on_terminal(*command, width=120), on_terminal(*command, width=120, NO_COLOR="1")
    assert "\x1b[1m" in bold and "\x1b" not in plain
    assert BOLD.sub("", bold) == plain
    assert "\x1b" not in in_process(*command)


def test_tables_give_way_by_rule() -> None:
    """Heads first, then words, then spare columns, then rows one below the other."""
    table = Table(
        ("name", "how it sounds", "how loud it is"),
        (("one of these", "as it should", "1.5"), ("x", "much too bright", "22.5")),
        words=2,
        spare=("how it sounds",),
    )
    assert len(table.lines()) == len(table.lines(80)) == 3
    narrow = table.lines(36)
    assert max(map(len, narrow)) <= 36 and "how it sounds" in " ".join(narrow[0].split())
    assert "how" in narrow[0] and narrow[1].strip().startswith("loud")
    spared = table.lines(14)
    assert max(map(len, spared)) <= 14
    assert "sounds" not in "".join(spared) and "22.5" in "".join(spared)
    stacked = Table(table.head, table.rows, 2).lines(16)
    assert [line for line in stacked if "loud" in line] and "22.5" in " ".join(stacked)


def test_folded_lines_stand_under_the_first() -> None:
    assert folded("  [ ] 2. Find the lugs by the meter.", 24) == [
        "  [ ] 2. Find the lugs",
        "         by the meter.",
    ]
    assert folded("averyveryverylongword and more", 8) == ["averyveryverylongword", "and more"]
    assert folded("as it is", None) == ["as it is"]


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (("nee",), "Did you mean 'need'?"),
        (("compre",), "Did you mean 'compare'?"),
        (("my-guitar.toml",), "presolder need --rig my-guitar.toml"),
        (("need", "mine.toml"), "A rig goes with --rig"),
        (("mine.wav",), "presolder render my-di.wav"),
    ],
)
def test_near_misses_get_a_hint(words: tuple[str, ...], hint: str) -> None:
    done = presolder_here(*words)
    assert done.returncode == 2 and hint in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_help_is_a_command_too() -> None:
    assert presolder_here("help").stdout == presolder_here("--help").stdout
    assert presolder_here("help", "need").stdout == presolder_here("need", "--help").stdout


def test_errors_are_json_where_json_is_asked_for() -> None:
    done = presolder_here("need", "--rig", "nope", "--json")
    told = json.loads(done.stderr)
    assert (told["schema"], told["status"], done.returncode) == (1, 2, 2)
    assert "neither a file nor built in" in told["error"]
    assert json.loads(in_process("designs", "--json"))["schema"] == 1


@pytest.mark.slow
def test_demo_ends_with_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that are there, the place in one of them, and a page that --open opens."""
    opened = tmp_path / "opened"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > {opened}\n')
    browser.chmod(0o755)
    monkeypatch.setenv("BROWSER", f"{browser} %s")
    out = tmp_path / "listen"
    said = subprocess.run(
        [sys.executable, "-m", "presolder", "demo", "--open", "--out", out],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    steps = said.partition("Now listen, beginning quiet:\n")[2].splitlines()
    files = [Path(line.split(". ")[1].split(":")[0].split(",")[0]) for line in steps]
    assert [file.name for file in files[::2]] == ["bare.wav", "listen.html"]
    assert all(file.exists() for file in files)
    manifest = json.loads((out / "manifest.json").read_text())
    (one,) = [
        e for e in manifest["comparisons"]["files"] if (out / e["file"]) == files[1]
    ]  # fmt: skip
    minutes, seconds = re.search(r"from (\d+):(\d\d): at 7", steps[1]).groups()  # type: ignore[union-attr]
    begins = manifest["comparisons"]["dials"].index(7) * 3
    assert int(minutes) * 60 + int(seconds) == round(one["starts_s"][begins])
    # What it is said to be is what the judgement puts first.
    assert f"{ps.need('humbucker-500k').ranked[0].design.name} keeps the bite" in steps[1]
    assert opened.read_text().strip() == (out / "listen.html").resolve().as_uri()
    assert (out / "listen.html").stat().st_size < 1_500_000


@pytest.mark.slow
def test_from_complaint_to_sheet_in_one_command(tmp_path: Path) -> None:
    """Five answers at most; the sentence is need's, and what is made hangs together."""
    out = tmp_path / "mine"
    done = CliRunner().invoke(
        cli, ["advise", "--out", str(out)], input="2\nhumbucker\n?\n18 ft\namp\n",
        catch_exceptions=False,
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "5 of 5" in done.output
    assert {file.name for file in out.glob("[a-z]*")} == {
        "rig.toml", "listen.html", "sheet.html", "order.txt",
    }  # fmt: skip
    found = ps.need(out / "rig.toml")
    assert done.stdout.startswith(found.lines()[0])
    (first,) = re.findall(r"^(.*?)  +to solder", done.stdout, re.MULTILINE)
    assert first.split(" (")[0] in (out / "sheet.html").read_text()
    assert "resistor" in (out / "order.txt").read_text()
    assert ps.rig(out / "rig.toml").cable_farads == pytest.approx(18 * 0.3048 * 100e-12)


@pytest.mark.thorough
def test_where_nothing_helps_nothing_is_ordered(tmp_path: Path) -> None:
    out = tmp_path / "low"
    told = json.loads(
        in_process("advise", "--rig", "low-impedance-fuzz", "--json", "--out", str(out))
    )
    assert told["design"] == "bare" == told["need"]["first"]
    assert {file.name for file in out.glob("[a-z]*")} == {"listen.html"}


@pytest.mark.slow
def test_takes_of_the_demo(tmp_path: Path) -> None:
    """A bar of each in turn, or one; not what was recorded at different places."""
    both = ps.sample("chords", "lead")
    bar = round(2.4 * both.sample_rate_hz)
    assert both.samples.shape[1] == 8 * bar
    middle = slice(bar + 1000, 2 * bar - 1000)
    assert (both.samples[0, middle] == ps.sample("lead").samples[0, 1000 : bar - 1000]).all()
    done = presolder_here("demo", "--sample", "phrase", "--sample", "lead", "--out", tmp_path / "x")
    assert done.returncode == 2 and "not recorded at the same place" in done.stderr
    assert not (tmp_path / "x").exists()
