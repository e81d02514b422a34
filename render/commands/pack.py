"""The pack command: what a technician sends to a customer."""

from pathlib import Path
from typing import Any

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.dirt import AnyKind
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.player import PLAYING, Playing
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    choose_dirts,
    comparing_options,
    design_options,
    gather_designs,
    json_option,
    output_options,
    read_turned_dials,
    require_hum_db,
    situations_option,
    stage_options,
    take_options,
)
from presolder.render.commands.output import (
    default_out,
    only_this,
    progress_on_terminal,
    say_packed,
    warn_of,
)
from presolder.render.files.ffmpeg import Format
from presolder.render.files.folder import require_free_pack
from presolder.render.files.standard import STANDARD
from presolder.render.listening.job import LONGEST_PHRASE_SECONDS

_LONGEST_TEXT = 2000


@click.command(
    epilog=examples(
        "presolder pack take.wav --rig my-guitar.toml --workshop 'The bench'",
        "presolder pack take.wav --design cap --design series --dial 8,6,4 --out mail.zip",
        "presolder pack take.wav --single-file --out mail.html",
    )
)
@take_options
@situations_option
@design_options
@click.option(
    "--dial",
    "dials",
    default="10,8,6,4,2",
    show_default=True,
    help="Hold the knob at these dials, by commas.",
)
@click.option(
    "--travel",
    type=float,
    default=8.0,
    show_default=True,
    help="Let the sweep take so many seconds.",
)
@click.option(
    "--plays", type=click.Choice(PLAYING), help="Let the page judge by this way of playing."
)
@click.option("--workshop", default="", help="Say on the page who sends it.")
@click.option("--note", default="", help="Print this note to the customer on the page.")
@click.option(
    "--listening", type=click.Choice(["mp3", "m4a"]), default="mp3", show_default=True,
    help="Make the light copies in this format; m4a needs ffmpeg.",
)  # fmt: skip
@click.option("--single-file", is_flag=True, help="Make only the page, as one HTML file OUT.html.")
@click.option("--allow-large", is_flag=True, help="Let a single file pass the mailing limit.")
@click.option("--light", is_flag=True, help="Leave out the lossless copies.")
@click.option(
    "--recordings", is_flag=True,
    help="Put the held and swept recordings into the page too; with --hum-db they are.",
)  # fmt: skip
@comparing_options
@stage_options
@output_options("Make this folder, or OUT.zip; - sends a zip to standard output")
@json_option
def pack(
    di: Path,
    start: float | None,
    end: float | None,
    situations: tuple[Situation, ...],
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
    recordings: bool,
    plays: Playing | None,
    comparing: dict[str, Any],
    dirt_kind: AnyKind | None,
    drive: float | None,
    touch: float | None,
    speaker: str | None,
    hum_db: float | None,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Make a folder (or OUT.zip) of listening samples from recording DI.

    Every design as a sweep, and held at each dial at true and at matched level.
    """
    only_this(as_json, force=force, out=out if out == STANDARD else None)
    out = out or default_out(di, "pack")
    require_free_pack(out, single_file=single_file, force=force)
    rig = situations[0].rig
    designs = gather_designs(design_names, designs_file, rig)
    for option, text in (("--workshop", workshop), ("--note", note)):
        if len(text) > _LONGEST_TEXT:
            raise InputError(f"{option} has {len(text)} characters; at most {_LONGEST_TEXT}")
    places = choose_dirts(situations, dirt_kind, drive, touch)
    require_hum_db(hum_db)
    sweep = ps.turn(10.0, 0.0, travel=travel, rest=1.0)
    held = read_turned_dials(dials)
    take = ps.read(di, start, end, trim=True, longest=LONGEST_PHRASE_SECONDS)
    warn_of(take, rig)
    with progress_on_terminal("packing") as progress:
        contents = ps.pack(
            out, take, places, designs, dials=held.tolist(), sweep=sweep,
            speaker=speaker, hum_db=hum_db, plays=plays, workshop=workshop, note=note,
            listening=listening, light=light, single_file=single_file, allow_large=allow_large,
            recordings=recordings, force=force, progress=progress, **comparing,
        )  # fmt: skip
    say_packed(contents, out, as_json, listening)
