"""The cleanup command: how each design's dirt clears as the knob comes down."""

from pathlib import Path

import click
import numpy as np

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.dirt import ANY_KINDS
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.judging.tones import REFERENCE_HZ
from presolder.render import plots
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    design_options,
    jobs_option,
    json_option,
    plot_options,
    rig_option,
    stage_options,
)
from presolder.render.commands.output import new_text, only_this, progress_on_terminal, say
from presolder.render.commands.texts import require_plot_ending
from presolder.render.files.audio import read_recording
from presolder.render.files.folder import new_file

# From a fingertip to a hard stroke, around what is ordinary.
STRENGTHS_DB = np.arange(-24.0, 13.0, 4.0)


@click.command(
    epilog=examples(
        "presolder cleanup --rig my-guitar.toml",
        "presolder cleanup --dirt germanium-fuzz --design bare --design series --map map.svg",
        "presolder cleanup --take take.wav --drive 26 --csv -",
    )
)
@rig_option
@design_options()
@stage_options(speaker=False, dirt="smooth")
@click.option(
    "--take", "take_file", type=click.Path(path_type=Path),
    help="Play the loudest second of this recording; - is standard input. [default: of a"
    " bundled one]",
)  # fmt: skip
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
@click.option(
    "--map", "map_file", type=click.Path(path_type=Path),
    help="Draw how dirty it is over the dial and how hard the strings are picked, as PNG or SVG;"
    " - is standard output.",
)  # fmt: skip
@click.option(
    "--circuit", "circuit_file", type=click.Path(path_type=Path),
    help="Draw the parts of a dirt that is a circuit, with the voltages of its nodes at rest, as"
    " SVG; - is standard output.",
)  # fmt: skip
@jobs_option
@json_option
def cleanup(
    rig: Rig,
    designs: tuple[Design, ...] | None,
    take_file: Path | None,
    hum_db: float | None,
    tone_hz: float,
    csv_file: Path | None,
    plot_file: Path | None,
    map_file: Path | None,
    circuit_file: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Tell at which dial each design's dirt turns clean.

    By tones, and by playing a recording at each dial.
    Tones reach a curve --drive dB past its knee at dial 10, a circuit with a
    fifth of the pickup's output. Without --dirt, and with none in the rig, it is a smooth curve.
    """
    if rig.dirt is None:
        raise InputError(f"--dirt none has nothing to clean up; one of {', '.join(ANY_KINDS)}")
    if not 20 <= tone_hz <= 5000:
        raise InputError(f"--tone-hz {tone_hz:g} must lie between 20 and 5000 Hz")
    require_plot_ending(plot_file)
    require_plot_ending(map_file, "--map")
    if circuit_file is not None and not isinstance(rig.dirt, Stage):
        raise InputError(f"--circuit draws a circuit, and {rig.dirt.kind} is a curve")
    alone = only_this(
        as_json, force=force, csv=csv_file, plot=plot_file, map=map_file, circuit=circuit_file
    )
    take = None if take_file is None else read_recording(take_file)
    with progress_on_terminal("playing") as progress:
        report = ps.cleanup(
            rig, designs, tone_hz=tone_hz, take=take, hum_db=hum_db, progress=progress
        )
    if csv_file is not None:
        with new_text(csv_file, force=force) as file:
            report.write_csv(file)
    if plot_file is not None:
        with new_file(plot_file, force=force, ending=".svg") as scratch:
            plots.plot_cleanup(
                scratch, report.title, report.designs, report.figures, report.played, tone_hz
            )
    if circuit_file is not None and isinstance(rig.dirt, Stage):
        with new_text(circuit_file, force=force) as file:
            file.write(plots.stage_svg(rig.dirt))
    if map_file is not None:
        with progress_on_terminal("picking") as told:
            whole = STRENGTHS_DB.size * report.played[0].dial.size
            picked = report.by_strength(STRENGTHS_DB, lambda done: told(done, whole))
        with new_file(map_file, force=force, ending=".svg") as scratch:
            plots.plot_map(
                scratch, report.title, report.designs, report.played[0].dial, STRENGTHS_DB, picked
            )
    if not alone:
        say(report, as_json)
