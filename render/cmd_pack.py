"""The pack command: what a technician sends to a customer."""

from pathlib import Path

import click

from presolder.models.errors import InputError
from presolder.models.knob import steady_turn
from presolder.models.rig import DirtKind
from presolder.render.audio import read_recording
from presolder.render.cmd_render import LISTENING_CAUTION
from presolder.render.delivery import NO_FFMPEG_NOTE, Format, have_ffmpeg
from presolder.render.options import (
    choose_dirt,
    design_options,
    gather_designs,
    output_options,
    parse_numbers,
    progress_on_terminal,
    rig_option,
    stage_options,
)
from presolder.render.packfiles import work_units, write_pack
from presolder.render.packpieces import PackJob
from presolder.render.rigfile import find_rig
from presolder.render.stages import Stages

_LONGEST_TEXT = 2000


@click.command()
@click.argument("di", type=click.Path(path_type=Path))
@rig_option
@design_options
@click.option("--dials", default="10,8,6,4,2", show_default=True, help="Held positions, by commas.")
@click.option("--travel", type=float, default=8.0, show_default=True, help="Seconds of the sweep.")
@click.option("--workshop", default="", help="Who sends the pack.")
@click.option("--note", default="", help="A note to the customer.")
@click.option(
    "--listening", type=click.Choice(["mp3", "m4a"]), default="mp3", show_default=True,
    help="Format of the light copies (needs ffmpeg).",
)  # fmt: skip
@click.option("--light", is_flag=True, help="Leave out the lossless copies.")
@stage_options
@output_options
def pack(
    di: Path,
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    dials: str,
    travel: float,
    workshop: str,
    note: str,
    listening: Format,
    light: bool,
    dirt_kind: DirtKind | None,
    drive: float | None,
    speaker: str | None,
    hum_db: float | None,
    out: Path,
    force: bool,
) -> None:
    """Make a folder (or OUT.zip) of listening samples from recording DI.

    Every design as a sweep, and held at each dial at true and at matched level.
    """
    rig = find_rig(rig_name)
    designs = gather_designs(design_names, designs_file)
    for option, text in (("--workshop", workshop), ("--note", note)):
        if len(text) > _LONGEST_TEXT:
            raise InputError(f"{option} has {len(text)} characters; at most {_LONGEST_TEXT}")
    stages = Stages(choose_dirt(rig, dirt_kind, drive), speaker, hum_db)
    sweep = steady_turn(10.0, 0.0, travel, 1.0)
    held = tuple(float(dial) for dial in parse_numbers("--dials", dials))
    job = PackJob(read_recording(di), rig, designs, sweep, held, stages, workshop, note)
    with progress_on_terminal("packing", work_units(job)) as progress:
        contents = write_pack(
            job, out, listening=listening, light=light, force=force, progress=progress
        )
    if not have_ffmpeg():
        click.echo(NO_FFMPEG_NOTE.format(ending=contents["listening_copies"]), err=True)
    click.echo(f"{out}: {len(contents['files'])} recordings of {len(designs)} designs, and a reel")
    click.echo(LISTENING_CAUTION)
