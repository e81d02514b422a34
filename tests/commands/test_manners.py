"""What every command takes, and what it says beside its results."""

import os
from pathlib import Path

import click
import pytest

from presolder.models.cores import JOBS
from presolder.render.cli import SUMMARIES, cli
from presolder.render.commands.remarks import QUIET, progress_is_seen, remark, say_remarks
from running import presolder_here
from takes import SAMPLES

TAKE = str(SAMPLES / "phrase.flac")


@pytest.fixture(autouse=True)
def as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    """What ``--jobs`` sets lasts as long as the process."""
    monkeypatch.setenv(JOBS, os.environ.get(JOBS, "1"))


@pytest.mark.parametrize("name", list(SUMMARIES))
def test_every_command_takes_them_once(name: str) -> None:
    command = cli.get_command(click.Context(cli), name)
    assert command is not None
    options = [one for parameter in command.params for one in parameter.opts]
    for wanted in ("--quiet", "-q", "--verbose", "-v"):
        assert options.count(wanted) == 1
    # Where work is spread over cores, and only there.
    spread = (
        "advise",
        "bench",
        "tailor",
        "travel",
        "curves",
        "demo",
        "render",
        "pack",
        "cleanup",
        "batch",
    )
    assert options.count("--jobs") == (name in spread)


@pytest.mark.slow
def test_quiet_leaves_results_and_errors(tmp_path: Path) -> None:
    odd = ("--design", "1p")
    loud = presolder_here("need")
    assert "the built-in default" in loud.stderr
    quiet = presolder_here("need", "-q")
    assert quiet.stdout == loud.stdout and quiet.stderr == ""
    assert "1p" in presolder_here("curves", *odd).stderr
    assert presolder_here("curves", *odd, "--quiet").stderr == ""
    failed = presolder_here("need", "-q", "--rig", "none-such")
    assert failed.returncode == 2 and failed.stderr.startswith("presolder: ")
    sweep = ("render", TAKE, "--design", "bare", "--travel", "0.2", "--rest", "0", "--json")
    assert presolder_here(*sweep, "-q", "--out", tmp_path / "out").stderr == ""


def test_verbose_tells_what_is_used_and_how_long_it_took() -> None:
    short = ("curves", "--design", "bare", "--rig", "single-coil-250k")
    done = presolder_here(*short, "-v", "--jobs", "3")
    first, *_, last = done.stderr.splitlines()
    assert first.startswith("presolder: presolder 0.") and first.endswith("loops built, 3 cores")
    assert last.startswith("presolder: took ") and float(last.split()[2]) < 60
    assert done.stdout == presolder_here(*short).stdout


@pytest.mark.parametrize("jobs", ["0", "-1", "many", "257"])
def test_impossible_numbers_of_cores(jobs: str) -> None:
    done = presolder_here("tailor", "--jobs", jobs)
    assert done.returncode == 2 and "--jobs" in done.stderr


def test_quiet_leaves_out_progress_and_remarks(capsys: pytest.CaptureFixture[str]) -> None:
    """Progress is for terminals only; remarks wait for the end, so that an error stays one line."""
    for quiet in (False, True):
        context = click.Context(click.Command("a"))
        context.meta[QUIET] = quiet
        with context:
            assert progress_is_seen(True) is not quiet
            assert progress_is_seen(False) is False
            remark("by the way")
            assert capsys.readouterr().err == ""
            say_remarks(context)
            assert capsys.readouterr().err == ("" if quiet else "by the way\n")
            say_remarks(context)
            assert capsys.readouterr().err == ""
    # From a script it is said at once.
    remark("at once")
    assert capsys.readouterr().err == "at once\n"


# A command, what is wrong with it besides and is found later, and an option with its limits.
AT_THE_EDGE = [
    ("cleanup", ("--plot", "x.pdf"), "--tone-hz", "20", "19.9"),
    ("cleanup", ("--plot", "x.pdf"), "--tone-hz", "5000", "5001"),
    ("cleanup", ("--plot", "x.pdf"), "--drive", "0", "-0.1"),
    ("cleanup", ("--plot", "x.pdf"), "--drive", "60", "60.1"),
    ("curves", ("--show", "0"), "--seed", "0", "-1"),
    ("curves", ("--show", "0"), "--draws", "10", "9"),
    ("curves", ("--show", "0"), "--draws", "100000", "100001"),
    ("need", ("--speaker", "nowhere.wav"), "--listening-level", "40", "39.9"),
    ("need", ("--speaker", "nowhere.wav"), "--listening-level", "100", "100.1"),
    ("tailor", ("--topology", "nothing"), "--top", "1", "0"),
    ("tailor", ("--topology", "nothing"), "--top", "100", "101"),
    ("travel", ("--wanted", "nothing"), "--top", "1", "0"),
    ("travel", ("--wanted", "nothing"), "--top", "100", "101"),
    ("taper", ("--ohms", "10=8k", "--second", "10=1k"), "--meter", "0.01", "0.009"),
    ("taper", ("--ohms", "10=8k", "--second", "10=1k"), "--meter", "10", "10.1"),
]


@pytest.mark.parametrize(("command", "wrong", "option", "edge", "beyond"), AT_THE_EDGE)
def test_the_last_that_is_accepted_and_the_first_that_is_not(
    command: str, wrong: tuple[str, ...], option: str, edge: str, beyond: str
) -> None:
    at_the_edge = presolder_here(command, option, edge, *wrong)
    past_it = presolder_here(command, option, beyond, *wrong)
    assert at_the_edge.returncode == past_it.returncode == 2
    assert any(word in at_the_edge.stderr for word in wrong)
    assert f"{option} " not in at_the_edge.stderr, at_the_edge.stderr
    assert f"presolder: {option}" in past_it.stderr and beyond in past_it.stderr
