"""The sheet command: what to order and what to solder where."""

from pathlib import Path
from typing import Any

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.rig import Rig
from presolder.render.commands.options import given_design, json_option, judging_options, rig_option
from presolder.render.commands.output import new_text, say, say_json

_LONGEST_TEXT = 200


@click.command()
@rig_option
@click.option(
    "--design", "design_name",
    help="Built-in name or expression. Default: what compare ranks first of the built-in ones.",
)  # fmt: skip
@judging_options
@click.option("--out", type=click.Path(path_type=Path), help="Write a page to print, FILE.html.")
@click.option("--force", is_flag=True, help="Replace an existing file.")
@click.option("--workshop", default="", help="Who made the sheet.")
@json_option
def sheet(
    rig: Rig,
    design_name: str | None,
    judged: dict[str, Any],
    out: Path | None,
    force: bool,
    workshop: str,
    as_json: bool,
) -> None:
    """Say which parts to order and what to solder where.

    In words, or with --out as a page of one A4 side with a drawing.
    """
    if len(workshop) > _LONGEST_TEXT:
        raise InputError(f"--workshop has {len(workshop)} characters; at most {_LONGEST_TEXT}")
    design = None if design_name is None else given_design(design_name)
    made = ps.sheet(rig, design, workshop=workshop, **judged)
    if made.chosen and made.design.network is None and not as_json:
        # Nothing to print a page about.
        say(made, False)
        return
    if out is not None:
        if out.suffix.lower() not in (".html", ".htm"):
            raise InputError(f"--out {str(out)!r} must end in .html")
        page = made.page()
        with new_text(out, force=force) as file:
            file.write(page)
    if as_json:
        say_json(made.plain())
    elif out is None:
        say(made, False)
