"""The compare command: figures of merit of several designs, ranked by a preference."""

import json
from pathlib import Path

import click

from presolder.models.merit import merit
from presolder.render.merittable import (
    MERIT_HEAD,
    merit_cells,
    merit_json,
    preference_options,
    read_preference,
    read_used_dials,
    score_of,
)
from presolder.render.options import design_options, gather_designs, json_option, rig_option
from presolder.render.rigfile import find_rig


@click.command("compare")
@rig_option
@design_options
@preference_options
@json_option
def compare_command(
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    keep: str,
    dial_list: str,
    as_json_text: bool,
) -> None:
    """Rank designs by how well they keep the taper, the tone, or both.

    Figures are in dB; see docs/figures.md.
    """
    rig = find_rig(rig_name)
    designs = gather_designs(design_names, designs_file)
    tone_weight, dials = read_preference(keep), read_used_dials(dial_list)
    ranked = sorted(
        ((design, merit(rig, design.network, dials)) for design in designs),
        key=lambda pair: score_of(pair[1], tone_weight),
    )
    if as_json_text:
        entries = [
            {"design": design.name, **merit_json(design.network, figures, tone_weight)}
            for design, figures in ranked
        ]
        result = {
            "rig": rig.name,
            "tone_weight": tone_weight,
            "dials": [float(dial) for dial in dials],
            "designs": entries,
        }
        click.echo(json.dumps(result, indent=2))
        return
    width = max(16, *(len(design.name) for design, _ in ranked))
    click.echo(f"rank  {'design':{width}}{MERIT_HEAD}")
    for rank, (design, figures) in enumerate(ranked, start=1):
        click.echo(f"{rank:4}  {design.name:{width}}{merit_cells(figures, tone_weight)}")
