"""Helps: whole sentences, examples that can be typed, one name for one thing, completion."""

import json
import os
import re
import shlex
import subprocess
import sys

import click
import pytest

from presolder.render.cli import SUMMARIES, cli
from running import in_process, presolder_here
from takes import DOCS


def command_named(name: str) -> click.Command:
    command = cli.get_command(click.Context(cli), name)
    assert command is not None
    return command


def options_of(name: str) -> list[click.Option]:
    return [one for one in command_named(name).params if isinstance(one, click.Option)]


def examples_of(name: str) -> list[str]:
    shown = in_process(name, "--help")
    return [line.strip() for line in shown.partition("Examples:\n")[2].splitlines() if line.strip()]


@pytest.mark.parametrize("name", list(SUMMARIES))
def test_two_or_three_examples_that_the_command_takes(name: str) -> None:
    lines = examples_of(name)
    assert 2 <= len(lines) <= 3
    for line in lines:
        # What goes before and after in a pipe is the shell's.
        (mine,) = [part for part in line.split(" | ") if part.startswith(f"presolder {name}")]
        words = shlex.split(mine.partition(" > ")[0])
        context = command_named(name).make_context(name, words[2:], parent=click.Context(cli))
        assert context.params or not words[2:]
    wide = max(len(line) for line in lines)
    assert wide <= 98


@pytest.mark.parametrize("name", list(SUMMARIES))
def test_helps_are_whole_sentences(name: str) -> None:
    assert not SUMMARIES[name].endswith("...") and SUMMARIES[name].endswith(".")
    for option in options_of(name):
        text = re.sub(r"\s*\[default: .*\]$", "", option.help or "")
        assert re.match(r"[A-Z]", text) and text.endswith((".", ").")), (name, option.opts, text)
        assert len(text.split()) >= 3 or name == "init", (name, option.opts, text)


def test_the_overview_cuts_no_summary() -> None:
    shown = " ".join(in_process("--help").split())
    for summary in SUMMARIES.values():
        assert summary in shown


def test_one_name_for_one_thing() -> None:
    every = {opt: name for name in SUMMARIES for one in options_of(name) for opt in one.opts}
    # Dials that are shown, held and left at have a word each.
    assert {"--show", "--hold", "--left-at"} <= set(every) and "--dial" not in every
    kinds: dict[str, set[type[click.ParamType]]] = {}
    for name in SUMMARIES:
        for option in options_of(name):
            for opt in option.opts:
                kinds.setdefault(opt, set()).add(type(option.type))
    # A taper's or a job's own meaning apart, an option takes the same kind of thing everywhere.
    differing = {opt for opt, found in kinds.items() if len(found) > 1}
    assert differing <= {"--response", "--take", "--jobs", "--pack", "--series", "--plays"}, (
        differing
    )


def completed(line: str) -> list[str]:
    """What the shell offers at the end of a line."""
    words = line.split(" ")
    environment = os.environ | {
        "_PRESOLDER_COMPLETE": "bash_complete", "COMP_WORDS": line,
        "COMP_CWORD": str(len(words) - 1),
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", "import sys; sys.argv[0] = 'presolder';"
         " from presolder.render.start import main; sys.exit(main())"],
        env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.splitlines()


@pytest.mark.slow
def test_the_shell_completes_rigs_situations_and_designs() -> None:
    assert completed("presolder need --rig single") == ["plain,single-coil-250k", "file,single"]
    found = completed("presolder curves --design ca")
    assert {"plain,cap", "plain,cap-strong"} <= set(found)
    assert all(one.startswith("plain,ca") for one in found)
    (neck,) = completed("presolder render take.wav --rig three-single-coils --in br")
    assert neck.startswith("plain,br")
    assert not any(completed("presolder render take.wav --rig no-such-rig --in x"))


def test_completion_is_documented_for_each_shell() -> None:
    page = (DOCS / "commands.md").read_text("utf-8")
    for shell in ("bash", "zsh", "fish"):
        assert f"_PRESOLDER_COMPLETE={shell}_source presolder" in page


def test_pages_come_with_the_package() -> None:
    listed = presolder_here("docs").stdout
    for name in ("json", "rig-format", "design-format", "figures", "batch"):
        assert re.search(rf"^{name} +\S", listed, re.MULTILINE)
        page = (DOCS / f"{name}.md").read_text("utf-8")
        assert presolder_here("docs", name).stdout == page.rstrip() + "\n"
        assert presolder_here("docs", f"docs/{name}.md").stdout == page.rstrip() + "\n"
        told = json.loads(presolder_here("docs", name, "--json").stdout)
        assert (told["name"], told["markdown"]) == (name, page)
        assert page.startswith(f"# {told['title']}")
    names = [one["name"] for one in json.loads(presolder_here("docs", "--json").stdout)["pages"]]
    assert names == [line.split()[0] for line in listed.splitlines()]
    wrong = presolder_here("docs", "jsno")
    assert wrong.returncode == 2 and "nearest: json" in wrong.stderr


def test_pages_that_helps_name_are_there() -> None:
    for name in SUMMARIES:
        for page in re.findall(r"'presolder docs\s+([a-z-]+)'", in_process(name, "--help")):
            assert presolder_here("docs", page).returncode == 0


@pytest.mark.parametrize("command", [("need",), ("curves",), ("pack", "take.wav")])
def test_what_an_option_is_now_is_said(command: tuple[str, ...]) -> None:
    done = presolder_here(*command, "--dial", "8")
    assert done.returncode == 2 and done.stderr.count("\n") == 1
    assert "No such option '--dial'; dials are --show (curves, need), --hold" in done.stderr


def test_the_overview_is_in_groups() -> None:
    """In the order of the job, each command in one."""
    shown = in_process("--help")
    heads = [line[:-1] for line in shown.splitlines() if line[:1].isupper() and line.endswith(":")]
    assert heads == ["Options", "Begin", "Decide", "Hear", "Build", "Measure", "The rest"]
    listed = [
        line.split()[0]
        for line in shown.splitlines()
        if line.startswith("  ") and line[2:3].isalpha()
    ]
    assert [name for name in listed if name in SUMMARIES] == list(SUMMARIES)
