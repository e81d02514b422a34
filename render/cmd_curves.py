"""The curves command: the analogue transfer function as numbers."""

import sys
from pathlib import Path

import click

from presolder.render.curvefiles import write_curves
from presolder.render.folder import new_file
from presolder.render.options import (
    design_options,
    gather_designs,
    parse_dials,
    parse_frequencies,
    rig_option,
)
from presolder.render.rigfile import find_rig


@click.command()
@rig_option
@design_options
@click.option(
    "--dial", "dial_list", default="10,7,5,3,1", show_default=True, help="Dials, by commas."
)
@click.option(
    "--frequency",
    "frequency_list",
    default="20:20000:200",
    show_default=True,
    help="Hz, by commas, or first:last:count spaced evenly on a log scale.",
)
@click.option(
    "--csv", "csv_file", type=click.Path(path_type=Path), help="File; default: standard output."
)
@click.option("--force", is_flag=True, help="Replace an existing file.")
def curves(
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    dial_list: str,
    frequency_list: str,
    csv_file: Path | None,
    force: bool,
) -> None:
    """Print the analogue transfer function, EMF to input, as CSV."""
    rig = find_rig(rig_name)
    designs = gather_designs(design_names, designs_file)
    dials = parse_dials(dial_list)
    frequency_hz = parse_frequencies(frequency_list)
    if csv_file is None:
        write_curves(sys.stdout, rig, designs, dials, frequency_hz)
        return
    with new_file(csv_file, force=force) as scratch, scratch.open("w", encoding="utf-8") as file:
        write_curves(file, rig, designs, dials, frequency_hz)
