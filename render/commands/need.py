"""The need command: whether a bypass is needed at all."""

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.instrument import Situation
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option, judging_options, situations_option
from presolder.render.commands.output import say
from presolder.render.commands.texts import parse_dials


@click.command(
    epilog=examples(
        "presolder need --rig my-guitar.toml --plays swells",
        "presolder need --left-at 8,6,4 --keep tone",
        "presolder rigs humbucker-500k --toml | presolder need --rig -",
    )
)
@situations_option
@judging_options()
@click.option(
    "--show", "shown_list", default="10,9,8,7,6,4,2", show_default=True,
    help="Show these dials, by commas.",
)  # fmt: skip
@json_option
def need(
    situations: tuple[Situation, ...],
    judging: ps.Judging,
    shown_list: str,
    as_json: bool,
) -> None:
    """Tell whether a rig and a way of playing need a bypass.

    And what else would help: another wire, pot or cable, or a buffer.
    """
    shown = parse_dials(shown_list, "--show")
    if (shown == 0).any():
        raise InputError("--show 0 is silent and has no treble; it must be above 0")
    say(ps.need(situations, judging, shown_at=shown), as_json)
