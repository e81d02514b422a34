"""The compare command: figures of merit of several designs, ranked by a preference."""

import click

import presolder as ps
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    design_options,
    json_option,
    judging_options,
    situations_option,
)
from presolder.render.commands.output import say


@click.command(
    epilog=examples(
        "presolder compare --rig my-guitar.toml",
        "presolder compare --design cap --design '150k || 1n' --keep taper",
        "presolder compare --designs drawer.toml --take take.wav --json",
    )
)
@situations_option
@design_options()
@judging_options()
@json_option
def compare(
    situations: tuple[Situation, ...],
    designs: tuple[Design, ...] | None,
    judging: ps.Judging,
    as_json: bool,
) -> None:
    """Rank designs by how well they keep the taper, the tone, or both.

    As heard, at equal loudness; 'presolder docs figures' says how the figures come about.
    """
    say(ps.compare(situations, designs, judging), as_json)
