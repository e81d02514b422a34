"""The tailor command: which values that one can buy suit a rig and a preference."""

from dataclasses import replace
from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.preferred import SERIES, preferred_values
from presolder.models.instrument.quantities import Unit
from presolder.models.judging.search import require_searchable
from presolder.render import plots
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    jobs_option,
    json_option,
    judging_options,
    plot_options,
    situations_option,
)
from presolder.render.commands.output import only_this, progress_on_terminal, say
from presolder.render.commands.remarks import remark
from presolder.render.commands.texts import read_component, require_plot_ending
from presolder.render.files.answers import read_answer
from presolder.render.files.folder import new_file


@click.command(
    epilog=examples(
        "presolder tailor --rig my-guitar.toml",
        "presolder tailor --topology series --series E6 --keep 0.3 --top 3",
        "presolder tailor --stock drawer.csv --plot front.svg",
    )
)
@situations_option
@click.option(
    "--series",
    type=click.Choice(SERIES),
    default="E12",
    show_default=True,
    help="Search values of this series (IEC 60063).",
)
@click.option(
    "--topology", "topologies", multiple=True, metavar="DESIGN",
    help="Search this topology: a built-in name, or an expression whose values do not matter;"
    " repeatable. [default: all of up to three parts]",
)  # fmt: skip
@click.option(
    "--resistors", metavar="FROM:TO",
    help="Search between these values. [default: of common practice, 47k:470k for most pots]",
)  # fmt: skip
@click.option(
    "--capacitors", metavar="FROM:TO",
    help="Search between these values. [default: of common practice, 100p:2n2 for most pots]",
)  # fmt: skip
@click.option("--any-values", is_flag=True, help="Search 1k:1M and 10p:10n.")
@click.option(
    "--gangs",
    help="Search these second gangs, to be had by special order, by commas; 'none' for no dual"
    " pots. [default: one like the volume pot]",
)  # fmt: skip
@click.option(
    "--stock", "stock_file", type=click.Path(path_type=Path), metavar="PARTS.csv",
    help="Search only what this drawer holds (- is standard input): columns type, value, count"
    " and, if wanted, tolerance and price.",
)  # fmt: skip
@judging_options()
@click.option(
    "--answers", "answers_file", type=click.Path(path_type=Path), metavar="FILE",
    help="Weigh by the dials of this answer, which the listening page saved.",
)  # fmt: skip
@click.option(
    "--top",
    default=6,
    show_default=True,
    help="Show so many; of one --topology those that are as good.",
)
@plot_options
@jobs_option
@json_option
def tailor(
    situations: tuple[Situation, ...],
    series: str,
    topologies: tuple[str, ...],
    resistors: str | None,
    capacitors: str | None,
    any_values: bool,
    gangs: str | None,
    stock_file: Path | None,
    judging: ps.Judging,
    answers_file: Path | None,
    top: int,
    plot_file: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Search preferred values for this rig: the best of each topology, ranked.

    --plot draws what the taper pays for the tone.
    """
    if not 1 <= top <= 100:
        raise InputError(f"--top {top} must lie between 1 and 100")
    require_plot_ending(plot_file)
    if answers_file is not None:
        judging = _as_answered(judging, answers_file)
    alone = only_this(as_json, force=force, plot=plot_file)
    with place("--topology"):
        shapes = tuple(ps.design(text) for text in topologies)
        for shape in shapes:
            require_searchable(shape)
    ohms = None if resistors is None else _bounds("--resistors", resistors, series, "ohm")
    farads = None if capacitors is None else _bounds("--capacitors", capacitors, series, "farad")
    second = None if gangs is None else _gangs(gangs)
    drawer = None if stock_file is None else ps.stock(stock_file)
    with progress_on_terminal("searching") as progress:
        found = ps.tailor(
            situations, judging, series=series, topologies=shapes or None,
            resistors=ohms, capacitors=farads, any_values=any_values, gangs=second, top=top,
            stock=drawer, progress=progress,
        )  # fmt: skip
    if plot_file is not None:
        with new_file(plot_file, force=force, ending=".svg") as scratch:
            plots.plot_front(scratch, found.ears, found.found)
    if not alone:
        say(found, as_json)


def _as_answered(judging: ps.Judging, file: Path) -> ps.Judging:
    """What a player's own dials make of the judgement."""
    if judging.left_at is not None:
        raise InputError("--left-at and --answers both say where the knob is left; give one")
    left_at = read_answer(file).left_at
    counted = ", ".join(f"{dial:g}" for dial in left_at)
    remark(f"presolder: weighed at {counted}, each for a fifth of the time in {file}")
    return replace(judging, left_at=left_at)


def _bounds(option: str, text: str, series: str, unit: Unit) -> tuple[float, float]:
    smallest, colon, largest = text.partition(":")
    asked = f"{option} {text!r}"
    if not colon:
        raise InputError(f"{asked} must be smallest:largest")
    low, high = (read_component(option, bound, unit) for bound in (smallest, largest))
    if low > high:
        raise InputError(f"{asked} must be smallest:largest")
    if preferred_values(series, low, high).size == 0:
        raise InputError(f"{asked}: no {series} value lies between these")
    return low, high


def _gangs(text: str) -> tuple[float, ...]:
    if text.strip() == "none":
        return ()
    return tuple(read_component("--gangs", word.strip(), "ohm") for word in text.split(","))
