"""What is said beside results, and whether anyone wants to hear it."""

import click

# Where a call of the command line keeps what was asked for.
QUIET = "presolder.quiet"


def remark(text: str) -> None:
    """Say something on standard error that is no error; nothing with ``--quiet``."""
    context = click.get_current_context(silent=True)
    if context is None or not context.meta.get(QUIET):
        click.echo(text, err=True)


def progress_is_seen(terminal: bool) -> bool:
    """Whether progress is to be shown, by whether standard error is a terminal."""
    return terminal and not click.get_current_context().meta.get(QUIET)
