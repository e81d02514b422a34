"""What is said beside results, and whether anyone wants to hear it."""

import shutil
import sys
from typing import TextIO

import click

# Where a call of the command line keeps what was asked for.
QUIET = "presolder.quiet"
_WAITING = "presolder.remarks"
_NARROWEST = 40


def remark(text: str) -> None:
    """Say something on standard error that is no error; nothing with ``--quiet``.

    In a command it is said when that has ended well, so that an error stays one line.
    """
    context = click.get_current_context(silent=True)
    if context is None:
        aside(text)
    elif not context.meta.get(QUIET):
        context.meta.setdefault(_WAITING, []).append(text)


def say_remarks(context: click.Context) -> None:
    """Say what waited for a command's end."""
    for text in context.meta.pop(_WAITING, []):
        aside(text)


def aside(text: str) -> None:
    """Print a line on standard error, folded between words where that is a terminal."""
    width = terminal_width(sys.stderr)
    if width is not None and len(text) > width:
        # Here, so that only a terminal waits for it.
        from presolder.render.report.table import folded  # noqa: PLC0415

        text = "\n".join(folded(text, width))
    click.echo(text, err=True)


def terminal_width(stream: TextIO) -> int | None:
    """Of a stream in columns; None where it is no terminal."""
    if not stream.isatty():
        return None
    return max(shutil.get_terminal_size().columns, _NARROWEST)


def progress_is_seen(terminal: bool) -> bool:
    """Whether progress is to be shown, by whether standard error is a terminal."""
    return terminal and not click.get_current_context().meta.get(QUIET)
