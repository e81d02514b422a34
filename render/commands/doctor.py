"""The doctor command: whether everything that is needed works."""

import click

import presolder as ps
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option
from presolder.render.commands.output import say

UNWELL = 3


@click.command(
    epilog=examples(
        "presolder doctor",
        "presolder doctor --json",
    )
)
@json_option
@click.pass_context
def doctor(context: click.Context, as_json: bool) -> None:
    """Check whether everything that presolder needs is there and works.

    Exit status: 0 all is well, 3 something is not.
    """
    report = ps.doctor()
    say(report, as_json)
    if not report.well:
        context.exit(UNWELL)
