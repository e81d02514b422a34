"""The designs command: what is built in, with the values that suit a guitar."""

import click

import presolder as ps
from presolder.models.instrument.rig import Rig
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option, rig_option
from presolder.render.commands.output import say
from presolder.render.report.catalogue import DesignList


@click.command(
    epilog=examples(
        "presolder designs",
        "presolder designs --rig single-coil-250k",
        "presolder designs --rig my-guitar.toml --json",
    )
)
@rig_option
@json_option
def designs(rig: Rig, as_json: bool) -> None:
    """List the built-in designs with the values that suit a guitar."""
    say(DesignList(ps.designs(rig=rig)), as_json)
