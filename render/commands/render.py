"""The render command: a recording through designs while the knob turns."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.audio.knob import KnobPath
from presolder.models.errors import InputError, place
from presolder.models.instrument.dirt import DirtKind
from presolder.models.instrument.rig import Captured
from presolder.render.commands.options import (
    choose_dirt,
    design_options,
    gather_designs,
    json_option,
    output_options,
    require_hum_db,
    rig_option,
    stage_options,
)
from presolder.render.commands.output import progress_on_terminal, say_rendered
from presolder.render.files.audio import Bits


@click.command()
@click.argument("di", type=click.Path(path_type=Path))
@rig_option
@design_options
@click.option(
    "--captured", type=click.Choice(["jack", "string"]), help="Overrides the rig's [take]."
)
@click.option("--from", "start", type=float, default=10.0, show_default=True, help="First dial.")
@click.option("--to", "stop", type=float, default=0.0, show_default=True, help="Last dial.")
@click.option("--travel", type=float, default=8.0, show_default=True, help="Seconds turning.")
@click.option(
    "--rest", type=float, default=1.0, show_default=True, help="Seconds still at each end."
)
@click.option("--gesture", type=click.Path(path_type=Path), help="CSV of time_s,dial instead.")
@click.option(
    "--gain-db", type=float, help="Gain for all designs; default: loudest peak at -1 dBFS."
)
@click.option("--bits", type=click.Choice(["16", "24", "float"]), default="24", show_default=True)
@stage_options
@output_options
@json_option
@click.pass_context
def render(
    context: click.Context,
    di: Path,
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    captured: Captured | None,
    start: float,
    stop: float,
    travel: float,
    rest: float,
    gesture: Path | None,
    gain_db: float | None,
    bits: Bits,
    dirt_kind: DirtKind | None,
    drive: float | None,
    speaker: str | None,
    hum_db: float | None,
    out: Path,
    force: bool,
    as_json: bool,
) -> None:
    """Render recording DI through each design while the volume knob turns."""
    rig = ps.rig(rig_name, captured=captured)
    designs = gather_designs(design_names, designs_file)
    path = knob_path(context, start, stop, travel, rest, gesture)
    dirt = choose_dirt(rig, dirt_kind, drive)
    require_hum_db(hum_db)
    take = ps.read(di)
    with progress_on_terminal("rendering") as progress:
        manifest = ps.render_files(
            out, take, rig, designs, path, dirt=dirt, speaker=speaker, hum_db=hum_db,
            bits=bits, gain_db=gain_db, force=force, progress=progress,
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
        ("start", "--from"), ("stop", "--to"), ("travel", "--travel"), ("rest", "--rest"),
    ):  # fmt: skip
        if context.get_parameter_source(name) is not click.core.ParameterSource.DEFAULT:
            raise InputError(f"--gesture and {option} exclude each other")
    return ps.gesture(gesture)
