"""The tailor command: which values that one can buy suit a rig and a preference."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import numpy as np
from numpy.typing import NDArray

from presolder.models.errors import InputError, within
from presolder.models.merit import Merit, merit, score
from presolder.models.network import (
    Capacitor,
    Design,
    Network,
    Resistor,
    format_network,
    leaves,
    shape_text,
)
from presolder.models.preferred import SERIES, preferred_values
from presolder.models.quantities import Unit, parse_quantity, require_component
from presolder.models.rig import Rig
from presolder.models.shapes import DEFAULT_SHAPES, built_in_of, canonical
from presolder.models.tailor import Found, Shelf, combinations, dual_pot_gangs, front, tailor
from presolder.render.designfile import resolve_design
from presolder.render.folder import new_file
from presolder.render.merittable import (
    MERIT_HEAD,
    best_built_in,
    merit_cells,
    merit_json,
    preference_options,
    read_preference,
    read_used_dials,
    score_of,
)
from presolder.render.options import json_option, plot_options, progress_on_terminal, rig_option
from presolder.render.plotstyle import require_plot_ending
from presolder.render.rigfile import find_rig

MOST_PARTS_SEARCHED = 4
# A part more is worth soldering from this much; common practice, no source.
_EXTRA_PART_DB = 0.03


@click.command("tailor")
@rig_option
@click.option(
    "--series", type=click.Choice(SERIES), default="E12", show_default=True, help="IEC 60063."
)
@click.option(
    "--topology", "topologies", multiple=True, metavar="DESIGN",
    help="Search this topology: a built-in name, or an expression whose values do not matter;"
    " repeatable. Default: all of up to three parts.",
)  # fmt: skip
@click.option("--resistors", default="1k:1M", show_default=True, help="Smallest:largest.")
@click.option("--capacitors", default="10p:10n", show_default=True, help="Smallest:largest.")
@click.option(
    "--gangs", default="100k,250k,500k,1M", show_default=True,
    help="Second gangs to be had, by commas; 'none' for no dual pots.",
)  # fmt: skip
@preference_options
@click.option("--top", default=6, show_default=True, help="How many to show.")
@plot_options
@json_option
def tailor_command(
    rig_name: str,
    series: str,
    topologies: tuple[str, ...],
    resistors: str,
    capacitors: str,
    gangs: str,
    keep: str,
    dial_list: str,
    top: int,
    plot_file: Path | None,
    force: bool,
    as_json_text: bool,
) -> None:
    """Search preferred values for this rig: the best of each topology, ranked.

    --plot draws what the taper pays for the tone.
    """
    rig = find_rig(rig_name)
    tone_weight, dials = read_preference(keep), read_used_dials(dial_list)
    if not 1 <= top <= 100:
        raise InputError(f"--top {top} must lie between 1 and 100")
    require_plot_ending(plot_file)
    shelf = Shelf(
        tuple(Resistor(v) for v in _values("--resistors", resistors, series, "ohm")),
        tuple(Capacitor(v) for v in _values("--capacitors", capacitors, series, "farad")),
        dual_pot_gangs(_gang_ohms(gangs)),
    )
    shapes = tuple(s for s in _shapes(topologies) if combinations(s, shelf) > 0)
    if not shapes:
        raise InputError("--gangs none leaves nothing to search in the --topology given")
    with progress_on_terminal("searching", len(shapes)) as progress:
        found = tailor(rig, shapes, shelf, tone_weight, dials, progress=progress)
    bare = score_of(merit(rig, None, dials), tone_weight)
    ranked = best_of_each(found, tone_weight)
    ahead = [f for f in ranked if score(f.taper_rms_db, f.tone_rms_db, tone_weight) < bare]
    best = (ahead or ranked[:1])[:top]
    if plot_file is not None:
        from presolder.render.frontplot import plot_front

        with new_file(plot_file, force=force) as scratch:
            plot_front(scratch, rig, best, front(found), dials)
    searched = sum(combinations(shape, shelf) for shape in shapes)
    result = _judged(rig, best, tone_weight, dials)
    if as_json_text:
        asked = {
            "rig": rig.name,
            "tone_weight": tone_weight,
            "dials": [float(dial) for dial in dials],
            "series": series,
            "designs_searched": searched,
        }
        click.echo(json.dumps(asked | _as_json(result, tone_weight, front(found)), indent=2))
    else:
        click.echo(_in_words(result, tone_weight, series, searched, len(shapes)))


@dataclass(frozen=True)
class _Result:
    """The best few, each judged once, beside the bare pot and the built-in designs.

    `rows` has for each the design, its figures, and by how much its score is
    below that of the built-in design of its topology, if there is one.
    """

    rows: list[tuple[Found, Merit, float | None]]
    bare: Merit
    built_in: Design
    built_in_score: float


def _judged(rig: Rig, best: list[Found], tone_weight: float, dials: NDArray[np.float64]) -> _Result:
    def points(network: Network) -> float:
        return score_of(merit(rig, network, dials), tone_weight)

    rows = []
    for found in best:
        figures = merit(rig, found.network, dials)
        alike = [points(network) for network in built_in_of(found.shape)]
        gain = min(alike) - score_of(figures, tone_weight) if alike else None
        rows.append((found, figures, gain))
    return _Result(rows, merit(rig, None, dials), *best_built_in(rig, tone_weight, dials))


def _in_words(result: _Result, tone_weight: float, series: str, searched: int, count: int) -> str:
    names = [format_network(found.network) for found, _, _ in result.rows]
    width = max(16, *map(len, names))
    lines = [
        f"Out of {searched:,} designs of {series} values in {count}"
        f" topolog{'y' if count == 1 else 'ies'}, the best of each, in dB (docs/figures.md)",
        "",
        f"rank  {'design':{width}}{MERIT_HEAD}  against built-in",
    ]
    for rank, (name, row) in enumerate(zip(names, result.rows, strict=True), start=1):
        _, figures, gain = row
        against = "-" if gain is None else f"{gain:.2f} better"
        lines.append(f"{rank:4}  {name:{width}}{merit_cells(figures, tone_weight):66}  {against}")
    lines.append(f"      {'bare':{width}}{merit_cells(result.bare, tone_weight)}")
    best = score_of(result.rows[0][1], tone_weight)
    ahead = score_of(result.bare, tone_weight) - best
    if ahead > 0:
        closing = (
            f"The best is {ahead:.2f} dB ahead of the bare pot, and"
            f" {result.built_in_score - best:.2f} dB ahead of the best built-in design,"
            f" {result.built_in.name}."
        )
    else:
        closing = "Nothing found beats the bare pot for this preference; try --keep tone."
    return "\n".join([*lines, "", closing])


def _as_json(result: _Result, tone_weight: float, on_front: list[Found]) -> dict[str, Any]:
    return {
        "best": [
            {
                "topology": shape_text(found.shape),
                "better_than_built_in_db": gain,
                **merit_json(found.network, figures, tone_weight),
            }
            for found, figures, gain in result.rows
        ],
        "best_built_in": {"design": result.built_in.name, "score_db": result.built_in_score},
        "bare": merit_json(None, result.bare, tone_weight),
        "front": [
            {
                "expression": format_network(found.network),
                "taper_rms_db": found.taper_rms_db,
                "tone_rms_db": found.tone_rms_db,
            }
            for found in on_front
        ],
    }


def best_of_each(found: list[Found], tone_weight: float) -> list[Found]:
    """The first of each topology, in order, less those whose extra parts earn nothing."""
    firsts: dict[object, Found] = {}
    for one in found:
        firsts.setdefault(canonical(one.shape), one)

    def points(one: Found) -> float:
        return float(score(one.taper_rms_db, one.tone_rms_db, tone_weight))

    return [
        one
        for one in firsts.values()
        if not any(
            len(leaves(other.shape)) < len(leaves(one.shape))
            and points(other) - points(one) < _EXTRA_PART_DB
            for other in firsts.values()
        )
    ]


def _values(option: str, text: str, series: str, unit: Unit) -> NDArray[np.float64]:
    smallest, colon, largest = text.partition(":")
    try:
        low, high = parse_quantity(smallest, unit), parse_quantity(largest, unit)
        for bound in (low, high):
            require_component("bound", bound, unit)
    except InputError as error:
        raise within(error, f"{option} {text!r}") from None
    if not colon or low > high:
        raise InputError(f"{option} {text!r} must be smallest:largest")
    values = preferred_values(series, low, high)
    if values.size == 0:
        raise InputError(f"{option} {text!r}: no {series} value lies between these")
    return values


def _gang_ohms(text: str) -> tuple[float, ...]:
    if text.strip() == "none":
        return ()
    try:
        ohms = tuple(parse_quantity(word, "ohm") for word in text.split(","))
        for value in ohms:
            require_component("gang", value, "ohm")
    except InputError as error:
        raise within(error, f"--gangs {text!r}") from None
    return ohms


def _shapes(topologies: tuple[str, ...]) -> tuple[Network, ...]:
    shapes: dict[object, Network] = {}
    for text in topologies:
        network = resolve_design(text).network
        if network is None:
            raise InputError("--topology bare has no parts to search for")
        if len(leaves(network)) > MOST_PARTS_SEARCHED:
            raise InputError(
                f"--topology {text!r} has {len(leaves(network))} parts;"
                f" at most {MOST_PARTS_SEARCHED} are searched"
            )
        shapes.setdefault(canonical(network), network)
    return tuple(shapes.values()) or DEFAULT_SHAPES
