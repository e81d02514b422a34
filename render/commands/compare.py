"""The compare command: figures of merit of several designs, ranked by a preference."""

from pathlib import Path

import click

import presolder as ps
from presolder.render.commands.options import (
    design_options,
    gather_designs,
    json_option,
    preference_options,
    read_preference,
    read_turned_dials,
    rig_option,
)
from presolder.render.commands.output import say


@click.command()
@rig_option
@design_options
@preference_options
@json_option
def compare(
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    keep: str,
    dial_list: str,
    as_json: bool,
) -> None:
    """Rank designs by how well they keep the taper, the tone, or both.

    Figures are in dB; see docs/figures.md.
    """
    rig = ps.rig(rig_name)
    designs = gather_designs(design_names, designs_file)
    weight, dials = read_preference(keep), read_turned_dials(dial_list)
    say(ps.compare(rig, designs, tone_weight=weight, dials=dials), as_json)
