"""The cleanup command: how each design's dirt clears as the knob comes down."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.dirt import DIRT_KINDS, DirtKind
from presolder.models.instrument.rig import Rig
from presolder.models.judging.cleanup import REFERENCE_HZ
from presolder.render import plots
from presolder.render.commands.options import (
    all_designs,
    choose_dirt,
    design_options,
    dirt_option,
    drive_option,
    json_option,
    plot_options,
    require_plot_ending,
    rig_option,
)
from presolder.render.commands.output import new_text, say
from presolder.render.files.folder import new_file


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
    rig: Rig,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    dirt_kind: DirtKind | None,
    drive: float | None,
    tone_hz: float,
    csv_file: Path | None,
    plot_file: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Tell at which dial each design's dirt turns clean.

    A reference tone reaches the stage --drive dB past its knee at dial 10.
    Without --dirt, and with none in the rig, the stage is smooth.
    """
    designs = all_designs(design_names, designs_file, rig)
    if dirt_kind is None and rig.dirt is None:
        dirt_kind = "smooth"
    dirt = choose_dirt(rig, dirt_kind, drive)
    if dirt is None:
        raise InputError(f"--dirt none has nothing to clean up; one of {', '.join(DIRT_KINDS)}")
    if not 20 <= tone_hz <= 5000:
        raise InputError(f"--tone {tone_hz:g} must lie between 20 and 5000 Hz")
    require_plot_ending(plot_file)
    report = ps.cleanup(rig, designs, dirt=dirt, tone_hz=tone_hz)
    if csv_file is not None:
        with new_text(csv_file, force=force) as file:
            report.write_csv(file)
    if plot_file is not None:
        with new_file(plot_file, force=force) as scratch:
            plots.plot_cleanup(scratch, report.title, designs, report.figures)
    say(report, as_json)
