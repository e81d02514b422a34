"""The need command: whether a bypass is needed at all."""

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.judging.need import PLAYING, Playing
from presolder.render.commands.options import json_option, parse_dials, rig_option
from presolder.render.commands.output import say


@click.command()
@rig_option
@click.option(
    "--plays",
    type=click.Choice(PLAYING),
    default="rolls-back",
    show_default=True,
    help="What the knob is used for.",
)
@click.option("--dial", "dial_list", default="10,8,6,4,2", show_default=True, help="By commas.")
@json_option
def need(rig_name: str, plays: Playing, dial_list: str, as_json: bool) -> None:
    """Tell whether a rig and a way of playing need a bypass."""
    rig = ps.rig(rig_name)
    dials = parse_dials(dial_list)
    if (dials == 0).any():
        raise InputError("--dial 0 is silent and has no treble; it must be above 0")
    say(ps.need(rig, plays, dials), as_json)
