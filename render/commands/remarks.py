"""What is said beside results, and whether anyone wants to hear it."""

import click

# Where a call of the command line keeps what was asked for.
QUIET = "presolder.quiet"
_WAITING = "presolder.remarks"


def remark(text: str) -> None:
    """Say something on standard error that is no error; nothing with ``--quiet``.

    In a command it is said when that has ended well, so that an error stays one line.
    """
    context = click.get_current_context(silent=True)
    if context is None:
        click.echo(text, err=True)
    elif not context.meta.get(QUIET):
        context.meta.setdefault(_WAITING, []).append(text)


def say_remarks(context: click.Context) -> None:
    """Say what waited for a command's end."""
    for text in context.meta.pop(_WAITING, []):
        click.echo(text, err=True)


def progress_is_seen(terminal: bool) -> bool:
    """Whether progress is to be shown, by whether standard error is a terminal."""
    return terminal and not click.get_current_context().meta.get(QUIET)
