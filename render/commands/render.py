"""The render command: a recording through designs while the knob turns."""

from dataclasses import replace
from pathlib import Path

import click

import presolder as ps
from presolder.models.audio.knob import KnobPath
from presolder.models.errors import InputError, place
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Captured
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    comparing_options,
    design_options,
    jobs_option,
    json_option,
    output_options,
    situations_option,
    stage_options,
    take_options,
)
from presolder.render.commands.output import (
    default_out,
    progress_on_terminal,
    say_rendered,
    warn_of,
)
from presolder.render.files.audio import Bits
from presolder.render.files.folder import require_free_folder

# By which drive and hum are set at least, where a shorter sweep is made.
_LEAST_READ_S = 60.0


@click.command(
    epilog=examples(
        "presolder render take.wav --rig my-guitar.toml",
        "presolder render take.wav --design cap --design '150k || 1n' --stairs --ab",
        "ffmpeg -v error -i take.ogg -f wav - | presolder render - --travel 20 --out listen",
    )
)
@take_options
@situations_option
@design_options()
@click.option(
    "--captured",
    type=click.Choice(["jack", "string"]),
    help="Say where the recording was taken, whatever the rig's [take] says.",
)
@click.option(
    "--from",
    "from_dial",
    type=float,
    default=10.0,
    show_default=True,
    help="Begin the turn at this dial.",
)
@click.option(
    "--to", "to_dial", type=float, default=0.0, show_default=True, help="End the turn at this dial."
)
@click.option(
    "--travel", type=float, default=8.0, show_default=True, help="Turn for so many seconds."
)
@click.option(
    "--rest", type=float, default=1.0, show_default=True, help="Rest so many seconds at each end."
)
@click.option(
    "--gesture",
    type=click.Path(path_type=Path),
    help="Turn the knob as this CSV file of time_s,dial says; - is standard input.",
)
@click.option(
    "--gain-db",
    type=float,
    help="Set the gain of all designs. [default: the loudest peak at -1 dBFS]",
)
@click.option("--bits", type=click.Choice(["16", "24", "float"]), default="24", show_default=True,
    help="Write samples of so many bits.",
)  # fmt: skip
@comparing_options
@stage_options()
@output_options("Make this folder")
@jobs_option
@json_option
@click.pass_context
def render(
    context: click.Context,
    di: Path,
    start: float | None,
    end: float | None,
    situations: tuple[Situation, ...],
    designs: tuple[Design, ...] | None,
    captured: Captured | None,
    from_dial: float,
    to_dial: float,
    travel: float,
    rest: float,
    gesture: Path | None,
    gain_db: float | None,
    bits: Bits,
    comparing: ps.Comparing,
    speaker: str | None,
    hum_db: float | None,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Render recording DI through each design while the volume knob turns."""
    out = out or default_out(di, "listen")
    require_free_folder(out, force=force)
    situations = tuple(replace(one, rig=ps.rig(one.rig, captured=captured)) for one in situations)
    rig = situations[0].rig
    path = knob_path(context, from_dial, to_dial, travel, rest, gesture)
    take = ps.read(di, start, end, trim=True, longest=max(_LEAST_READ_S, path.duration_s))
    warn_of(take, rig)
    with progress_on_terminal("rendering") as progress:
        manifest = ps.render_files(
            out, take, situations, designs, path, speaker=speaker, hum_db=hum_db,
            comparing=comparing, bits=bits, gain_db=gain_db, force=force, progress=progress,
        )  # fmt: skip
    say_rendered(manifest, out, as_json)


def knob_path(
    context: click.Context,
    start: float,
    stop: float,
    travel: float,
    rest: float,
    gesture: Path | None,
) -> KnobPath:
    """The knob's path from the options; a gesture excludes the steady turn's."""
    if gesture is None:
        with place("--from/--to/--travel/--rest"):
            return ps.turn(start, stop, travel=travel, rest=rest)
    for name, option in (
        ("from_dial", "--from"), ("to_dial", "--to"), ("travel", "--travel"), ("rest", "--rest"),
    ):  # fmt: skip
        if context.get_parameter_source(name) is not click.core.ParameterSource.DEFAULT:
            raise InputError(f"--gesture and {option} exclude each other")
    return ps.gesture(gesture)
