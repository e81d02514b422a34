"""The designs command: what is built in, with values."""

import click

import presolder as ps
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option
from presolder.render.commands.output import say
from presolder.render.report.catalogue import DesignList


@click.command(
    epilog=examples(
        "presolder designs",
        "presolder designs --json",
    )
)
@json_option
def designs(as_json: bool) -> None:
    """List the built-in designs with their values."""
    say(DesignList(ps.designs()), as_json)
