"""The cleanup command: how each design's dirt clears as the knob comes down."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.dirt import ANY_KINDS, AnyKind
from presolder.models.instrument.rig import Rig
from presolder.models.judging.cleanup import REFERENCE_HZ
from presolder.render import plots
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    choose_dirt,
    design_options,
    dirt_option,
    drive_option,
    gather_designs,
    hum_option,
    json_option,
    plot_options,
    require_hum_db,
    require_plot_ending,
    rig_option,
    touch_option,
)
from presolder.render.commands.output import new_text, only_this, progress_on_terminal, say
from presolder.render.files.audio import read_recording
from presolder.render.files.folder import new_file


@click.command(
    epilog=examples(
        "presolder cleanup --rig my-guitar.toml",
        "presolder cleanup --design bare --design cap --dirt lopsided --plot clean.svg",
        "presolder cleanup --take take.wav --drive 26 --csv -",
    )
)
@rig_option
@design_options
@dirt_option
@drive_option
@touch_option
@click.option(
    "--take", "take_file", type=click.Path(path_type=Path),
    help="Play this recording; - is standard input. [default: two seconds of a bundled"
    " one]",
)  # fmt: skip
@hum_option
@click.option(
    "--tone-hz",
    "tone_hz",
    type=float,
    default=REFERENCE_HZ,
    show_default=True,
    help="Use tones of this frequency, Hz.",
)
@click.option(
    "--csv",
    "csv_file",
    type=click.Path(path_type=Path),
    help="Write the numbers to this file; - is standard output.",
)
@plot_options
@json_option
def cleanup(
    rig: Rig,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    dirt_kind: AnyKind | None,
    drive: float | None,
    touch: float | None,
    take_file: Path | None,
    hum_db: float | None,
    tone_hz: float,
    csv_file: Path | None,
    plot_file: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Tell at which dial each design's dirt turns clean.

    By tones, and by playing a recording at each dial.
    Tones reach a curve --drive dB past its knee at dial 10, a circuit with a
    fifth of the pickup's output. Without --dirt, and with none in the rig, it is a smooth curve.
    """
    designs = gather_designs(design_names, designs_file, rig)
    if dirt_kind is None and rig.dirt is None:
        dirt_kind = "smooth"
    dirt = choose_dirt(rig, dirt_kind, drive, touch)
    if dirt is None:
        raise InputError(f"--dirt none has nothing to clean up; one of {', '.join(ANY_KINDS)}")
    if not 20 <= tone_hz <= 5000:
        raise InputError(f"--tone-hz {tone_hz:g} must lie between 20 and 5000 Hz")
    require_plot_ending(plot_file)
    alone = only_this(as_json, force=force, csv=csv_file, plot=plot_file)
    require_hum_db(hum_db)
    take = None if take_file is None else read_recording(take_file)
    with progress_on_terminal("playing") as progress:
        report = ps.cleanup(
            rig, designs, dirt=dirt, tone_hz=tone_hz, take=take, hum_db=hum_db, progress=progress
        )
    if csv_file is not None:
        with new_text(csv_file, force=force) as file:
            report.write_csv(file)
    if plot_file is not None:
        with new_file(plot_file, force=force, ending=".svg") as scratch:
            plots.plot_cleanup(
                scratch, report.title, report.designs, report.figures, report.played, tone_hz
            )
    if not alone:
        say(report, as_json)
