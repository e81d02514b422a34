"""The command line's entry point: commands loaded when called, errors as one line."""

import codecs
import importlib
import io
import json
import os
import re
import sys
import time
import warnings
from pathlib import Path
from typing import Any, TextIO

import click

from presolder.models.cores import cores
from presolder.models.errors import (
    InputError,
    OddValueWarning,
    one_line,
)
from presolder.render import SCHEMA
from presolder.render.commands.remarks import QUIET, aside, remark, say_remarks

# Each command lives in a module of its name; the line is what the overview says of it,
# so that the overview loads none of them.
GROUPS = {
    "Begin": {
        "demo": "Hear what the parts do: bundled takes through a few designs, and a page.",
        "advise": "Say whether a bypass helps you, which one, and make all you need for it.",
        "bench": "Do the whole job in a browser: guitar, listening, choice, soldering, proof.",
    },
    "Decide": {
        "init": "Write a rig file: asks for what it needs, and explains each question.",
        "need": "Tell whether a rig and a way of playing need a bypass.",
        "compare": "Rank designs by how well they keep the taper, the tone, or both.",
        "tailor": "Search preferred values for this rig: the best of each topology, ranked.",
        "travel": "Find the pot, taper and parts that make the knob turn the way you want.",
        "curves": "Show level and treble over the dial, and the response at some dials.",
    },
    "Hear": {
        "render": "Render recording DI through each design while the volume knob turns.",
        "pack": "Make a folder (or OUT.zip) of listening samples from recording DI.",
        "cleanup": "Tell at which dial each design's dirt turns clean.",
    },
    "Build": {
        "sheet": "Say which parts to order and what to solder where.",
        "order": "Total the parts for several jobs; subtract what is in stock.",
    },
    "Measure": {
        "pickup": "Find a pickup's inductance and capacitance.",
        "taper": "Find a pot's track and taper from an ohmmeter's readings.",
        "cable": "Find a cable's capacitance.",
        "verify": "Compare recordings at several dials with the prediction.",
    },
    "The rest": {
        "designs": "List the built-in designs with the values that suit a guitar.",
        "rigs": "List the built-in rigs with their values, or print one's file.",
        "export": "Write SPICE netlists, impulse responses and responses for other programs.",
        "batch": "Run many jobs: rigs, takes, designs and commands that a file lists.",
        "docs": "List the pages that describe formats, figures and the model, or print one.",
        "doctor": "Check whether everything that presolder needs is there and works.",
    },
}
SUMMARIES = {name: line for group in GROUPS.values() for name, line in group.items()}
# Where it is said now what an option was for.
_MOVED = {
    "--dial": "dials are --show (curves, need), --hold (pack) or --left-at (what is judged)",
}

# Where a file goes that was given by itself.
_FILES = {
    ".toml": "rig goes with --rig, as in: presolder need --rig my-guitar.toml",
    ".wav": "recording goes with a command, as in: presolder render my-di.wav",
}
_LONGEST_MESSAGE = 285
_LEFT_OVER = re.compile(r"unexpected extra arguments? \((\S+?)\s*\)")
_SPELT_OUT = {"\N{OHM SIGN}": "ohm", "\N{GREEK CAPITAL LETTER OMEGA}": "ohm"} | {
    "\N{MICRO SIGN}": "u", "\N{GREEK SMALL LETTER MU}": "u", "\N{EM DASH}": "-",
}  # fmt: skip


class LazyGroup(click.Group):
    """Commands that are loaded when they are called."""

    def invoke(self, ctx: click.Context) -> object:
        """Run a command, and see whether what it printed went out."""
        try:
            try:
                status: object = super().invoke(ctx)
            except click.exceptions.Exit:
                say_remarks(ctx)
                raise
            say_remarks(ctx)
            sys.stdout.flush()
        except BrokenPipeError:
            raise _ReaderGoneError from None
        return status

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is meant, or what may be."""
        name = args[0]
        if name == "help":
            # Of a command, if one is named.
            return self.resolve_command(ctx, [*(args[1:2] or ["--help"]), "--help"])
        if name not in SUMMARIES and not name.startswith("-"):
            raise click.UsageError(f"No such command {name!r}.{_meant(name)}")
        return super().resolve_command(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """In the order of the job."""
        return list(SUMMARIES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load one command."""
        if cmd_name not in SUMMARIES:
            return None
        module = importlib.import_module(f"presolder.render.commands.{cmd_name}")
        command: click.Command = getattr(module, cmd_name)
        taken = {name for one in command.params for name in one.opts}
        command.params += [one for one in _everywhere() if not taken & set(one.opts)]
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """The overview."""
        widest = max(map(len, SUMMARIES))
        for name, group in GROUPS.items():
            with formatter.section(name):
                formatter.write_dl([(one.ljust(widest), line) for one, line in group.items()])


def _meant(name: str) -> str:
    """What a word may be that is no command."""
    # Here, so that only who mistypes waits for it.
    from presolder.render.files.toml import nearest  # noqa: PLC0415

    ending = Path(name).suffix.lower()
    if ending in _FILES:
        return f" A {_FILES[ending]}"
    return f" Did you mean {nearest(name, SUMMARIES)!r}? 'presolder --help' lists them."


def _everywhere() -> tuple[click.Option, ...]:
    """What every command takes."""
    hidden: dict[str, Any] = {"expose_value": False}
    return (
        click.Option(
            ["-q", "--quiet", "be_quiet"], is_flag=True, **hidden, callback=_set_quiet,
            help="Print no remarks and no progress, only results and errors.",
        ),
        click.Option(
            ["-v", "--verbose", "be_verbose"], is_flag=True, **hidden, callback=_set_verbose,
            help="Tell what is used, and how long it took.",
        ),
    )  # fmt: skip


def _set_quiet(context: click.Context, option: click.Parameter, quiet: bool) -> None:  # noqa: ARG001
    context.meta[QUIET] = quiet


def _set_verbose(context: click.Context, option: click.Parameter, verbose: bool) -> None:  # noqa: ARG001
    if not verbose:
        return
    # Here, so that only who asks waits for them.
    from importlib.metadata import version  # noqa: PLC0415

    from presolder.models.core import origin  # noqa: PLC0415

    began = time.perf_counter()
    used = f"presolder {version('presolder')}, loops {origin()}, {cores()} cores"
    click.echo(f"presolder: {used}", err=True)
    context.call_on_close(
        lambda: click.echo(f"presolder: took {time.perf_counter() - began:.2f} s", err=True)
    )


def _warn(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """Odd values in one line on standard error; other warnings as Python shows them."""
    if issubclass(category, OddValueWarning):
        remark(f"presolder: {one_line(str(message))}")
    else:
        shown = warnings.formatwarning(message, category, filename, lineno, line)
        click.echo(shown, file=file, err=True)


def run() -> int:
    """Run a command line; every user error becomes one line.

    Returns
    -------
    int
        The exit status: 2 after such an error, or what the command says.
    """
    warnings.simplefilter("always", OddValueWarning)
    warnings.showwarning = _warn
    # Drawings are SVG; without this the library loads another for windows, in most of a second.
    sys.modules.setdefault("schemdraw.backends.mpl", None)  # type: ignore[arg-type]
    codecs.register_error("presolder", _spelt_out)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="presolder")
    try:
        _require_text(sys.argv[1:])
        status = cli.main(standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        return 0
    except click.Abort as stopped:
        # Ctrl-D at a question.
        return _failed(str(stopped) or "stopped at the question; nothing half-written is left", 130)
    except _ReaderGoneError:
        # What is still in the buffer has nowhere to go.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (click.ClickException, InputError, MemoryError, OSError, UnicodeError) as error:
        return _failed(_in_words(error))
    return status if isinstance(status, int) else 0


def _in_words(error: Exception) -> str:
    """What went wrong; the last resort for what no command has put better."""
    match error:
        case click.NoSuchOption(option_name=name) if name in _MOVED:
            return f"No such option {name!r}; {_MOVED[name]}"
        case click.ClickException():
            return f"{error.format_message()}{_left_over(error.format_message())}"
        case MemoryError():
            return "there is not enough memory for this; give a shorter take or fewer designs"
        case OSError():
            named = f"{error.filename}: " if error.filename else ""
            return f"{named}{error.strerror or error}"
        case UnicodeError():
            return f"some text cannot be written as it is: {error}"
        case _:
            return str(error)


def _left_over(said: str) -> str:
    """Where a file goes that was given by itself, if a message is of one."""
    told = _LEFT_OVER.search(said)
    ending = Path(told[1]).suffix.lower() if told else ""
    return f". A {_FILES[ending]}" if ending in _FILES else ""


def _failed(text: str, status: int = 2) -> int:
    said = _printable(one_line(text))
    if "--json" in sys.argv[1:]:
        told = {"schema": SCHEMA, "error": said, "status": status}
        click.echo(json.dumps(told), err=True)
    else:
        aside(f"presolder: {said}")
    return status


def _printable(text: str) -> str:
    """A message of bearable length, without what a terminal would take for commands."""
    plain = "".join(char if char.isprintable() else "?" for char in text)
    if len(plain) <= _LONGEST_MESSAGE:
        return plain
    # What would be accepted stands at the end.
    half = (_LONGEST_MESSAGE - 5) // 2
    return f"{plain[:half]} ... {plain[-half:]}"


def _require_text(arguments: list[str]) -> None:
    """Refuse what is not text in the system's encoding."""
    for argument in arguments:
        if any("\ud800" <= char <= "\udfff" for char in argument):
            raise InputError(f"{argument!a}: is not text in UTF-8")
        # No shell can send one; what calls the command from Python can.
        if "\0" in argument:
            raise InputError(f"{argument!r}: holds a zero character")


def _spelt_out(error: UnicodeError) -> tuple[str, int]:
    """What to print where a terminal's encoding lacks a letter."""
    assert isinstance(error, UnicodeEncodeError)
    missing = error.object[error.start : error.end]
    return "".join(_SPELT_OUT.get(char, "?") for char in missing), error.end


class _ReaderGoneError(Exception):
    """The reader (head, a pager) has had enough; that is no error of ours."""


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="presolder", prog_name="presolder")
def cli() -> None:
    """Hear a volume-control modification before anyone heats an iron."""
