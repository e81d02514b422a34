"""The command line's entry point: commands loaded when called, errors as one line."""

import importlib
import sys
import warnings
from typing import TextIO

import click

from presolder.models.errors import InputError, OddValueWarning, one_line

# Each lives in a module of its name; the line is what the overview says of it,
# so that the overview loads none of them.
SUMMARIES = {
    "init": "Write a rig file: asks for what it needs, and explains each question.",
    "need": "Tell whether a rig and a way of playing need a bypass.",
    "compare": "Rank designs by how well they keep the taper, the tone, or both.",
    "tailor": "Search preferred values for this rig: the best of each topology, ranked.",
    "travel": "Search pot, law, bypass and gang for the turn of the knob that is wanted.",
    "curves": "Show level and treble over the dial, and the response at some dials.",
    "cleanup": "Tell at which dial each design's dirt turns clean.",
    "demo": "Render the bundled recording through a few built-in designs.",
    "render": "Render recording DI through each design while the volume knob turns.",
    "pack": "Make a folder (or OUT.zip) of listening samples from recording DI.",
    "sheet": "Say which parts to order and what to solder where.",
    "order": "Add up what several jobs take, and what of it the drawer has.",
    "pickup": "Find a pickup's inductance and capacitance.",
    "taper": "Find a pot's track and taper from an ohmmeter's readings.",
    "cable": "Find a cable's capacitance.",
    "verify": "Compare recordings at several dials with the prediction.",
    "designs": "List the built-in designs with their values.",
    "rigs": "List the built-in rigs with their values, or print one's file.",
}


class LazyGroup(click.Group):
    """Commands that are loaded when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """In the order of the job."""
        return list(SUMMARIES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load one command."""
        if cmd_name not in SUMMARIES:
            return None
        module = importlib.import_module(f"presolder.render.commands.{cmd_name}")
        command: click.Command = getattr(module, cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """The overview."""
        with formatter.section("Commands"):
            formatter.write_dl(list(SUMMARIES.items()))


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
        click.echo(f"presolder: {one_line(str(message))}", err=True)
    else:
        shown = warnings.formatwarning(message, category, filename, lineno, line)
        click.echo(shown, file=file, err=True)


def main() -> None:
    """Entry point: every user error becomes one line and exit code 2."""
    warnings.simplefilter("always", OddValueWarning)
    warnings.showwarning = _warn
    try:
        status = cli.main(standalone_mode=False)
        if isinstance(status, int) and status:
            sys.exit(status)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
    except (click.Abort, KeyboardInterrupt):
        click.echo("presolder: interrupted; nothing was written", err=True)
        sys.exit(130)
    except click.ClickException as error:
        click.echo(f"presolder: {one_line(error.format_message())}", err=True)
        sys.exit(2)
    except InputError as error:
        click.echo(f"presolder: {one_line(str(error))}", err=True)
        sys.exit(2)
    except BrokenPipeError:
        # The reader (head, a pager) has had enough; that is no error of ours.
        sys.stderr.close()
        sys.exit(0)


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="presolder", prog_name="presolder")
def cli() -> None:
    """Hear a volume-control modification before anyone heats an iron."""
