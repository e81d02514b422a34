"""The sheet command: what to order and what to solder where."""

import json
from pathlib import Path

import click

from presolder.models.errors import InputError
from presolder.render.designfile import resolve_design
from presolder.render.folder import new_file
from presolder.render.merittable import DEFAULT_KEEP, best_built_in, read_preference
from presolder.render.options import json_option, rig_option
from presolder.render.rigfile import find_rig
from presolder.render.sheetfiles import make_sheet, sheet_json, sheet_page, sheet_text

_LONGEST_TEXT = 200


@click.command("sheet")
@rig_option
@click.option(
    "--design", "design_name",
    help="Built-in name or expression. Default: the built-in one that compare ranks first.",
)  # fmt: skip
@click.option("--out", type=click.Path(path_type=Path), help="Write a page to print, FILE.html.")
@click.option("--force", is_flag=True, help="Replace an existing file.")
@click.option("--workshop", default="", help="Who made the sheet.")
@json_option
def sheet_command(
    rig_name: str,
    design_name: str | None,
    out: Path | None,
    force: bool,
    workshop: str,
    as_json_text: bool,
) -> None:
    """Say which parts to order and what to solder where.

    In words, or with --out as a page of one A4 side with a drawing.
    """
    rig = find_rig(rig_name)
    if len(workshop) > _LONGEST_TEXT:
        raise InputError(f"--workshop has {len(workshop)} characters; at most {_LONGEST_TEXT}")
    if design_name is None:
        design, _ = best_built_in(rig, read_preference(DEFAULT_KEEP))
    else:
        design = resolve_design(design_name)
    if out is not None:
        if out.suffix.lower() not in (".html", ".htm"):
            raise InputError(f"--out {str(out)!r} must end in .html")
        page = sheet_page(rig, design, workshop)
        with new_file(out, force=force) as scratch:
            scratch.write_text(page, encoding="utf-8")
    if as_json_text:
        click.echo(json.dumps(sheet_json(rig, design), indent=2, ensure_ascii=False))
    elif out is None:
        click.echo(sheet_text(make_sheet(rig, design)))
