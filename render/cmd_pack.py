"""The pack command: what a technician sends to a customer."""

from pathlib import Path

import click

from presolder.models.errors import InputError
from presolder.models.knob import steady_turn
from presolder.models.rig import DirtKind
from presolder.render.audio import read_recording
from presolder.render.delivery import Format
from presolder.render.options import (
    choose_dirt,
    design_options,
    gather_designs,
    json_option,
    output_options,
    parse_numbers,
    rig_option,
    stage_options,
)
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
@click.option("--single-file", is_flag=True, help="Only the page, as one HTML file OUT.html.")
@click.option("--allow-large", is_flag=True, help="Let a single file pass the mailing limit.")
@click.option("--light", is_flag=True, help="Leave out the lossless copies.")
@stage_options
@output_options
@json_option
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
    single_file: bool,
    allow_large: bool,
    light: bool,
    dirt_kind: DirtKind | None,
    drive: float | None,
    speaker: str | None,
    hum_db: float | None,
    out: Path,
    force: bool,
    as_json_text: bool,
) -> None:
    """Make a folder (or OUT.zip) of listening samples from recording DI.

    Every design as a sweep, and held at each dial at true and at matched level.
    """
    # The page and its templates take a while to load, and only packs need them.
    from presolder.render.packing import PackJob, run_pack

    rig = find_rig(rig_name)
    designs = gather_designs(design_names, designs_file)
    for option, text in (("--workshop", workshop), ("--note", note)):
        if len(text) > _LONGEST_TEXT:
            raise InputError(f"{option} has {len(text)} characters; at most {_LONGEST_TEXT}")
    stages = Stages(choose_dirt(rig, dirt_kind, drive), speaker, hum_db)
    sweep = steady_turn(10.0, 0.0, travel, 1.0)
    held = tuple(float(dial) for dial in parse_numbers("--dials", dials))
    job = PackJob(read_recording(di), rig, designs, sweep, held, stages, workshop, note)
    run_pack(
        job, out, listening=listening, light=light, single_file=single_file,
        allow_large=allow_large, force=force, as_json_text=as_json_text,
    )  # fmt: skip
