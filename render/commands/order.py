"""The order command: one shopping list over several jobs."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option
from presolder.render.commands.output import say


@click.command(
    epilog=examples(
        "presolder order --job single-coil-250k=series --job my-guitar.toml='120k + 470p'",
        "presolder order --job humbucker-500k=cap --stock drawer.csv",
    )
)
@click.option(
    "--job", "jobs", multiple=True, metavar="RIG=DESIGN",
    help="Count this guitar's parts: a rig by built-in name or file, and a design by built-in name"
    " or expression; repeatable.",
)  # fmt: skip
@click.option(
    "--stock", "stock_file", type=click.Path(path_type=Path), metavar="PARTS.csv",
    help="Look into this drawer (- is standard input): columns type, value, count and, if wanted,"
    " tolerance and price.",
)  # fmt: skip
@json_option
def order(jobs: tuple[str, ...], stock_file: Path | None, as_json: bool) -> None:
    """Total the parts for several jobs; subtract what is in stock."""
    if not jobs:
        raise InputError("no --job is given; for example --job single-coil-250k=series")
    asked = []
    for text in jobs:
        rig, equals, design = text.partition("=")
        if not (rig and equals and design):
            raise InputError(f"--job {text!r} must be RIG=DESIGN, such as single-coil-250k=series")
        asked.append((rig.strip(), design.strip()))
    stock = None if stock_file is None else ps.stock(stock_file)
    with place("--job"):
        found = ps.order(asked, stock)
    say(found, as_json)
