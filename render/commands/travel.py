"""The travel command: which pot and bypass give the turn of the knob that is wanted."""

import click

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.markings import marked_pot
from presolder.models.instrument.preferred import SERIES
from presolder.models.judging.search import require_searchable
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    jobs_option,
    json_option,
    judging_options,
    situations_option,
)
from presolder.render.commands.output import progress_on_terminal, say


@click.command(
    epilog=examples(
        "presolder travel --wanted 'halfway at 5' --pot A500K --pot B500K",
        "presolder travel --rig my-guitar.toml --wanted 'usable from 3 to 30'",
        "presolder travel --wanted turn.csv --topology cap --top 3",
    )
)
@situations_option
@click.option(
    "--wanted", required=True, metavar="WORDS|FILE.csv",
    help="Ask for 'halfway at 5', 'usable from 3 to 30' (dB down over the turn), or what a CSV"
    " file of dial,level_db re dial 10 says.",
)  # fmt: skip
@click.option(
    "--pot", "pots", multiple=True, metavar="MARKING",
    help="Take this pot, such as A500K; repeatable. [default: 250k, 500k and 1M, linear and audio"
    " as sold]",
)  # fmt: skip
@click.option(
    "--series",
    type=click.Choice(SERIES),
    default="E6",
    show_default=True,
    help="Search values of this series (IEC 60063).",
)
@click.option(
    "--topology", "topologies", multiple=True, metavar="DESIGN",
    help="Search this topology; repeatable. [default: C, R + C, R || C, and a second gang for R]",
)  # fmt: skip
@judging_options()
@click.option("--top", default=6, show_default=True, help="Show so many.")
@jobs_option
@json_option
def travel(
    situations: tuple[Situation, ...],
    wanted: str,
    pots: tuple[str, ...],
    series: str,
    topologies: tuple[str, ...],
    judging: ps.Judging,
    top: int,
    as_json: bool,
) -> None:
    """Find the pot, taper and parts that make the knob turn the way you want."""
    if not 1 <= top <= 100:
        raise InputError(f"--top {top} must lie between 1 and 100")
    if judging.left_at is not None:
        raise InputError("--left-at has no use here; --wanted says which dials count")
    with place("--wanted"):
        turn = ps.turn_wanted(wanted)
    with place("--pot"):
        sold = tuple(marked_pot(text) for text in pots)
    with place("--topology"):
        shapes = tuple(ps.design(text) for text in topologies)
        for shape in shapes:
            require_searchable(shape)
    with progress_on_terminal("searching") as progress:
        found = ps.travel(
            situations, turn, judging, pots=sold or None, series=series,
            topologies=shapes or None, top=top, progress=progress,
        )  # fmt: skip
    say(found, as_json)
