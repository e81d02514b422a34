"""The pack command: what a technician sends to a customer."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    comparing_options,
    design_options,
    jobs_option,
    json_option,
    judging_options,
    output_options,
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
from presolder.render.commands.texts import parse_dials
from presolder.render.files.ffmpeg import Format
from presolder.render.files.folder import require_free_pack
from presolder.render.files.standard import STANDARD
from presolder.render.listening.job import LONGEST_PHRASE_SECONDS

_LONGEST_TEXT = 2000


@click.command(
    epilog=examples(
        "presolder pack take.wav --rig my-guitar.toml --workshop 'The bench'",
        "presolder pack take.wav --design cap --design series --hold 8,6,4 --out mail.zip",
        "presolder pack take.wav --single-file --out mail.html",
    )
)
@take_options
@situations_option
@design_options()
@click.option(
    "--hold",
    "held_at",
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
@judging_options(of_take=True)
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
@click.option(
    "--beeps",
    is_flag=True,
    help="Say in the reels by beeps which design comes, and with --stairs by low ticks which dial.",
)
@comparing_options
@stage_options()
@output_options("Make this folder, or OUT.zip; - sends a zip to standard output")
@jobs_option
@json_option
def pack(
    di: Path,
    start: float | None,
    end: float | None,
    situations: tuple[Situation, ...],
    designs: tuple[Design, ...] | None,
    held_at: str,
    travel: float,
    workshop: str,
    note: str,
    listening: Format,
    single_file: bool,
    allow_large: bool,
    light: bool,
    recordings: bool,
    beeps: bool,
    judging: ps.Judging,
    comparing: ps.Comparing,
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
    for option, text in (("--workshop", workshop), ("--note", note)):
        if len(text) > _LONGEST_TEXT:
            raise InputError(f"{option} has {len(text)} characters; at most {_LONGEST_TEXT}")
    hold = tuple(parse_dials(held_at, "--hold", silent_ok=False).tolist())
    sweep = ps.turn(10.0, 0.0, travel=travel, rest=1.0)
    asked = ps.Contents(
        hold, sweep, comparing, recordings, listening, light, single_file, allow_large,
        workshop, note, beeps,
    )  # fmt: skip
    take = ps.read(di, start, end, trim=True, longest=LONGEST_PHRASE_SECONDS)
    warn_of(take, rig)
    with progress_on_terminal("packing") as progress:
        contents = ps.pack(
            out, take, situations, designs, asked, judging, hum_db=hum_db, force=force,
            progress=progress,
        )  # fmt: skip
    say_packed(contents, out, as_json, listening)
