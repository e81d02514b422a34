"""The export command: what other programs read."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    design_options,
    json_option,
    output_options,
    rig_option,
    stage_options,
)
from presolder.render.commands.output import say_blocks, say_json
from presolder.render.commands.texts import parse_dials


@click.command(
    epilog=examples(
        "presolder export --rig my-guitar.toml --design cap --out exchange",
        "presolder export --hold 10,7,4 --rate 96000",
    )
)
@rig_option
@design_options()
@click.option(
    "--hold", "held_at", default="10,8,6,4,2", show_default=True,
    help="Hold the knob at these dials, by commas.",
)  # fmt: skip
@click.option(
    "--rate", default=48_000, show_default=True,
    help="Write impulse responses of so many samples a second.",
)  # fmt: skip
@stage_options(speaker=False, hum=False)
@output_options("Make this folder", "exchange")
@json_option
def export(
    rig: Rig,
    designs: tuple[Design, ...] | None,
    held_at: str,
    rate: int,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Write SPICE netlists, impulse responses and responses for other programs.

    A netlist and an impulse response a design and dial, and a CSV file of all responses.
    """
    folder = out or Path("exchange")
    dials = parse_dials(held_at, "--hold", silent_ok=False)
    made = ps.export(folder, rig, designs, dials, sample_rate_hz=rate, force=force)
    if as_json:
        say_json(made)
        return
    count = len(made["files"])
    said = [f"{folder}: {count} netlists, {count} impulse responses, and responses.csv"]
    if made["delay_samples"]:
        said.append(f"The impulse responses delay by {made['delay_samples']} samples.")
    say_blocks(said)
