"""The sheet command: what to order and what to solder where."""

from pathlib import Path
from typing import Any

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.rig import Rig
from presolder.render.commands.completion import complete_designs
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    gather_designs,
    json_option,
    judging_options,
    rig_option,
)
from presolder.render.commands.output import new_text, only_this, say, say_json
from presolder.render.files.standard import STANDARD
from presolder.render.report.sheet import Sheet, sheet_pages

_LONGEST_TEXT = 200


@click.command(
    epilog=examples(
        "presolder sheet --rig my-guitar.toml",
        "presolder sheet --design '150k || 1n' --out sheet.html",
        "presolder sheet --designs drawer.toml --workshop 'The bench' --out sheets.html",
    )
)
@rig_option
@click.option(
    "--design", "design_names", multiple=True,
    shell_complete=complete_designs,
    help="Take this design, a built-in name or an expression; repeatable, a side of paper each."
    " [default: what compare ranks first of the built-in ones]",
)  # fmt: skip
@click.option(
    "--designs", "designs_file", type=click.Path(path_type=Path),
    help="Take the designs of this TOML file with [[design]] tables, a side of paper"
    " each; - is standard input.",
)  # fmt: skip
@judging_options
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Write a page to print to this file, FILE.html; - is standard output.",
)
@click.option("--force", is_flag=True, help="Replace a file that exists.")
@click.option("--workshop", default="", help="Say on the sheet who made it.")
@json_option
def sheet(
    rig: Rig,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    judged: dict[str, Any],
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
    designs = gather_designs(design_names, designs_file, rig) or (None,)
    made = [ps.sheet(rig, design, workshop=workshop, **judged) for design in designs]
    if as_json:
        plain = [one.plain() for one in made]
        say_json(plain[0] if len(plain) == 1 else {"sheets": plain})
    if out is not None and _worth_a_page(made):
        with new_text(out, force=force) as file:
            file.write(sheet_pages(made))
    elif not as_json:
        for i, one in enumerate(made):
            if i:
                click.echo()
            say(one, False)


def _worth_a_page(made: list[Sheet]) -> bool:
    """Whether there is anything to solder."""
    return not (made[0].chosen and made[0].design.network is None)
