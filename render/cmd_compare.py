"""The compare command: figures of merit of several designs, ranked by a preference."""

import json
from dataclasses import asdict
from pathlib import Path

import click

from presolder.models.errors import InputError
from presolder.models.merit import Merit, merit, score
from presolder.models.network import Design, format_network
from presolder.models.quantities import format_quantity
from presolder.render.options import design_options, gather_designs, rig_option
from presolder.render.rigfile import find_rig

_WORDS = {"taper": 0.0, "tone": 1.0}
_HEAD = "rank  design            score   tone RMS  taper RMS   worst   spike  left at 1  coil feeds"


@click.command("compare")
@rig_option
@design_options
@click.option(
    "--keep", default="0.5", show_default=True, help="taper, tone, or the tone's weight 0 to 1."
)
@click.option("--json", "as_json", is_flag=True, help="Numbers for programs; see docs/json.md.")
def compare_command(
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    keep: str,
    as_json: bool,
) -> None:
    """Rank designs by how well they keep the taper, the tone, or both."""
    rig = find_rig(rig_name)
    designs = gather_designs(design_names, designs_file)
    tone_weight = read_preference(keep)
    ranked = sorted(
        ((design, merit(rig, design.network)) for design in designs),
        key=lambda pair: score(pair[1], tone_weight),
    )
    if as_json:
        click.echo(_as_json(rig.name, tone_weight, ranked))
        return
    click.echo(_HEAD)
    for rank, (design, figures) in enumerate(ranked, start=1):
        click.echo(
            f"{rank:4}  {design.name:16}{score(figures, tone_weight):7.2f} dB"
            f"{figures.tone_rms_db:7.2f} dB{figures.taper_rms_db:8.2f} dB"
            f"{figures.taper_worst_db:7.1f}{figures.spike_db:8.1f}{figures.leftover_db:8.1f} dB"
            f"   {format_quantity(figures.load_ohms, 'ohm')}"
        )


def read_preference(keep: str) -> float:
    """The tone's weight from ``taper``, ``tone`` or a number.

    Raises
    ------
    InputError
        If it is none of these.
    """
    if keep in _WORDS:
        return _WORDS[keep]
    try:
        weight = float(keep)
    except ValueError:
        weight = -1.0
    if not 0.0 <= weight <= 1.0:
        raise InputError(f"--keep {keep!r} must be taper, tone, or a number from 0 to 1")
    return weight


def _as_json(rig: str, tone_weight: float, ranked: list[tuple[Design, Merit]]) -> str:
    designs = [
        {
            "design": design.name,
            "expression": format_network(design.network) or None,
            "score_db": score(figures, tone_weight),
            **asdict(figures),
        }
        for design, figures in ranked
    ]
    return json.dumps({"rig": rig, "tone_weight": tone_weight, "designs": designs}, indent=2)
