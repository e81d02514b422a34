"""The rigs command: what is built in, with values."""

import click

import presolder as ps
from presolder.render.commands.options import json_option
from presolder.render.commands.output import say
from presolder.render.report.catalogue import RigList


@click.command()
@json_option
def rigs(as_json: bool) -> None:
    """List the built-in rigs with their values."""
    say(RigList(ps.rigs()), as_json)
