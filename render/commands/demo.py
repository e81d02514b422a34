"""The demo command: the bundled recording through every built-in design."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.dirt import DirtKind
from presolder.render.commands.options import (
    choose_dirt,
    json_option,
    output_options,
    require_hum_db,
    stage_options,
)
from presolder.render.commands.output import progress_on_terminal, say_packed, say_rendered


@click.command()
@stage_options
@click.option("--pack", "as_pack", is_flag=True, help="Make a listening pack to send instead.")
@click.option("--light", is_flag=True, help="Of a pack, leave out the lossless copies.")
@output_options
@json_option
def demo(
    dirt_kind: DirtKind | None,
    drive: float | None,
    speaker: str | None,
    hum_db: float | None,
    as_pack: bool,
    light: bool,
    out: Path,
    force: bool,
    as_json: bool,
) -> None:
    """Render the bundled recording through every built-in design."""
    rig, take = ps.rig(), ps.sample()
    dirt = choose_dirt(rig, dirt_kind, drive)
    require_hum_db(hum_db)
    if light and not as_pack:
        raise InputError("--light goes with --pack")
    if as_pack:
        with progress_on_terminal("packing") as progress:
            contents = ps.pack(
                out, take, rig, dirt=dirt, speaker=speaker, hum_db=hum_db,
                workshop="the demo bench", light=light, force=force, progress=progress,
            )  # fmt: skip
        say_packed(contents, out, as_json)
        return
    with progress_on_terminal("rendering") as progress:
        manifest = ps.render_files(
            out, take, rig, dirt=dirt, speaker=speaker, hum_db=hum_db, force=force,
            progress=progress,
        )  # fmt: skip
    say_rendered(manifest, out, as_json)
