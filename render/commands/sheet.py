"""The sheet command: what to order and what to solder where."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    design_options,
    json_option,
    judging_options,
    situations_option,
)
from presolder.render.commands.output import (
    new_text,
    only_this,
    say,
    say_blocks,
    say_json,
)
from presolder.render.files.standard import STANDARD
from presolder.render.report.sheet import sheet_pages

_LONGEST_TEXT = 200


@click.command(
    epilog=examples(
        "presolder sheet --rig my-guitar.toml",
        "presolder sheet --design '150k || 1n' --out sheet.html",
        "presolder sheet --designs drawer.toml --workshop 'The bench' --out sheets.html",
    )
)
@situations_option
@design_options("what compare ranks first of the built-in ones")
@judging_options()
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Write a page to print to this file, FILE.html; - is standard output.",
)
@click.option("--force", is_flag=True, help="Replace a file that exists.")
@click.option("--workshop", default="", help="Say on the sheet who made it.")
@json_option
def sheet(
    situations: tuple[Situation, ...],
    designs: tuple[Design, ...] | None,
    judging: ps.Judging,
    out: Path | None,
    force: bool,
    workshop: str,
    as_json: bool,
) -> None:
    """Say which parts to order and what to solder where.

    In words, or with --out as a page to print, one A4 side a design with a
    drawing.
    """
    if len(workshop) > _LONGEST_TEXT:
        raise InputError(f"--workshop has {len(workshop)} characters; at most {_LONGEST_TEXT}")
    only_this(as_json, force=force, out=out)
    if out is not None and out != STANDARD and out.suffix.lower() not in (".html", ".htm"):
        raise InputError(f"--out {str(out)!r} must end in .html")
    made = [
        ps.sheet(situations, design, judging, workshop=workshop) for design in designs or (None,)
    ]
    if as_json:
        plain = [one.plain() for one in made]
        say_json(plain[0] if len(plain) == 1 else {"sheets": plain})
    # Where the tool chose, and found nothing better than the bare pot, there is nothing to print.
    to_solder = designs or made[0].design.network is not None
    if out is not None and to_solder:
        with new_text(out, force=force) as file:
            file.write(sheet_pages(made))
    elif not as_json:
        for i, one in enumerate(made):
            if i:
                say_blocks(("",))
            say(one, False)
