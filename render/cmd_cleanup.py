"""The cleanup command: how each design's dirt clears as the knob comes down."""

import json
from dataclasses import asdict
from pathlib import Path

import click
import numpy as np

from presolder.models.cleanup import REFERENCE_HZ, clean_up
from presolder.models.errors import InputError
from presolder.models.rig import DirtKind
from presolder.render.cleanupfiles import as_json, in_words, plot_cleanup, write_cleanup
from presolder.render.folder import new_file
from presolder.render.options import (
    choose_dirt,
    design_options,
    dirt_option,
    drive_option,
    gather_designs,
    json_option,
    plot_options,
    rig_option,
)
from presolder.render.plotstyle import require_plot_ending
from presolder.render.rigfile import find_rig

_DIALS = np.linspace(0.1, 10.0, 100)


@click.command()
@rig_option
@design_options
@dirt_option
@drive_option
@click.option("--tone", "tone_hz", type=float, default=REFERENCE_HZ, show_default=True, help="Hz.")
@click.option("--csv", "csv_file", type=click.Path(path_type=Path), help="Write the numbers.")
@plot_options
@json_option
def cleanup(
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    dirt_kind: DirtKind | None,
    drive: float | None,
    tone_hz: float,
    csv_file: Path | None,
    plot_file: Path | None,
    force: bool,
    as_json_text: bool,
) -> None:
    """Tell at which dial each design's dirt turns clean.

    A reference tone reaches the stage --drive dB past its knee at dial 10.
    Without --dirt, and with none in the rig, the stage is smooth.
    """
    rig = find_rig(rig_name)
    designs = gather_designs(design_names, designs_file)
    if dirt_kind is None and rig.dirt is None:
        dirt_kind = "smooth"
    dirt = choose_dirt(rig, dirt_kind, drive)
    if dirt is None:
        raise InputError(
            "--dirt none has nothing to clean up; one of smooth, diodes, lopsided, fuzz"
        )
    if not 20 <= tone_hz <= 5000:
        raise InputError(f"--tone {tone_hz:g} must lie between 20 and 5000 Hz")
    require_plot_ending(plot_file)
    figures = [clean_up(rig, design.network, dirt, _DIALS, tone_hz) for design in designs]
    if csv_file is not None:
        with (
            new_file(csv_file, force=force) as scratch,
            scratch.open("w", encoding="utf-8") as file,
        ):
            write_cleanup(file, designs, figures)
    if plot_file is not None:
        title = f"{rig.name}, {dirt.kind} at {dirt.drive_db:g} dB, {tone_hz:g} Hz"
        with new_file(plot_file, force=force) as scratch:
            plot_cleanup(scratch, title, designs, figures)
    if as_json_text:
        result = {
            "rig": rig.name,
            "dirt": asdict(dirt),
            "tone_hz": tone_hz,
            "designs": [as_json(d, f) for d, f in zip(designs, figures, strict=True)],
        }
        click.echo(json.dumps(result, indent=2))
        return
    for design, figure in zip(designs, figures, strict=True):
        click.echo(in_words(design, figure))
