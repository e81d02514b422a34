"""Making a pack from a command: progress, notes, and the size limit of a single file."""

import json
from pathlib import Path
from typing import Any

import click

from presolder.models.errors import InputError
from presolder.render.delivery import NO_FFMPEG_NOTE, Format, have_ffmpeg
from presolder.render.options import LISTENING_CAUTION, progress_on_terminal
from presolder.render.packfiles import work_units, write_pack, write_single_file
from presolder.render.packpieces import PackJob

__all__ = ["DEMO_DIALS", "PackJob", "run_pack"]

DEMO_DIALS = (10.0, 8.0, 6.0, 4.0, 2.0)


def run_pack(
    job: PackJob,
    out: Path,
    *,
    listening: Format = "mp3",
    light: bool = False,
    single_file: bool = False,
    allow_large: bool = False,
    force: bool = False,
    as_json_text: bool = False,
) -> None:
    """Make a pack and say what was made.

    Parameters
    ----------
    job : PackJob
        What to render.
    out : Path
        Folder, zip, or with `single_file` an HTML file.
    listening, light, single_file, allow_large, force, as_json_text
        As the command's options.

    Raises
    ------
    InputError
        If the place cannot be written, or a single file is too large to mail.
    """
    if single_file and out.suffix.lower() not in (".html", ".htm"):
        raise InputError(f"--single-file needs --out to end in .html, got {str(out)!r}")
    with progress_on_terminal("packing", work_units(job)) as progress:
        if single_file:
            size = write_single_file(
                job, out, listening=listening, allow_large=allow_large, force=force,
                progress=progress,
            )  # fmt: skip
            contents: dict[str, Any] = {"page": str(out), "bytes": size}
            made = f"one page with its audio, {size / 1e6:.1f} MB"
        else:
            contents = write_pack(
                job, out, listening=listening, light=light, force=force, progress=progress
            )
            made = f"{len(contents['files'])} recordings of {len(job.designs)} designs, and a reel"
    if not have_ffmpeg():
        click.echo(NO_FFMPEG_NOTE.format(ending="mp3 or ogg"), err=True)
    if as_json_text:
        click.echo(json.dumps(contents, indent=2, ensure_ascii=False))
        click.echo(LISTENING_CAUTION, err=True)
        return
    click.echo(f"{out}: {made}")
    click.echo(LISTENING_CAUTION)
