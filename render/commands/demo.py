"""The demo command: the bundled recording through every built-in design."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.rig import Rig
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    jobs_option,
    json_option,
    output_options,
    rig_option,
    stage_options,
)
from presolder.render.commands.output import progress_on_terminal, say_packed, say_rendered
from presolder.render.files.folder import require_free_folder, require_free_pack

_OUT = {False: Path("presolder-demo"), True: Path("presolder-demo-pack")}


@click.command(
    epilog=examples(
        "presolder demo",
        "presolder demo --rig single-coil-250k --out listen",
        "presolder demo --pack --light --out demo.zip",
    )
)
@rig_option
@stage_options()
@click.option("--pack", "as_pack", is_flag=True, help="Make a listening pack to send instead.")
@click.option("--light", is_flag=True, help="Leave the lossless copies out of a pack.")
@output_options("Make this folder; of a pack also OUT.zip")
@jobs_option
@json_option
def demo(
    rig: Rig,
    speaker: str | None,
    hum_db: float | None,
    as_pack: bool,
    light: bool,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Render the bundled recording through a few built-in designs.

    As slow sweeps, as stairs (one dial after the other), and beside the bare pot.
    """
    out = out or _OUT[as_pack]
    if as_pack:
        require_free_pack(out, single_file=False, force=force)
    else:
        require_free_folder(out, force=force)
    # Chords, whatever the rig's own takes are of.
    rig = rig.for_any_playing
    take = ps.sample("string" if rig.take.captured == "string" else "phrase")
    if light and not as_pack:
        raise InputError("--light goes with --pack")
    if as_pack:
        with progress_on_terminal("packing") as progress:
            contents = ps.pack(
                out, take, rig, None, ps.Contents(light=light, workshop="the demo bench"),
                ps.Judging(speaker=speaker), hum_db=hum_db, force=force, progress=progress,
            )  # fmt: skip
        say_packed(contents, out, as_json)
        return
    # So slow that the phrase is struck several times at every dial.
    sweep = ps.turn(10, 0, travel=14, rest=1)
    with progress_on_terminal("rendering") as progress:
        manifest = ps.render_files(
            out, take, rig, short_list(rig), sweep, speaker=speaker, hum_db=hum_db,
            comparing=ps.Comparing(stairs=True, beside_bare=True, phrase_s=2.5), force=force,
            progress=progress,
        )  # fmt: skip
    say_rendered(manifest, out, as_json)
