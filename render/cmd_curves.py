"""The curves command: what designs do over the dial, as a table, a plot, CSV or JSON."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from presolder.models.errors import InputError, within
from presolder.models.network import Design
from presolder.models.rig import Rig
from presolder.models.tolerance import Bands, Spread, bands
from presolder.render.curvefiles import as_json, in_words, write_curves
from presolder.render.folder import new_file
from presolder.render.options import (
    design_options,
    gather_designs,
    json_option,
    parse_dials,
    parse_frequencies,
    plot_options,
    progress_on_terminal,
    rig_option,
)
from presolder.render.plotstyle import require_plot_ending
from presolder.render.rigfile import find_rig

_MOST_DRAWS = 100_000
_PLOT_DIALS = np.linspace(0.5, 10.0, 20)


@click.command()
@rig_option
@design_options
@click.option(
    "--dial", "dial_list", default="10,7,5,3,1", show_default=True, help="Dials, by commas."
)
@click.option(
    "--frequency",
    "frequency_list",
    default="20:20000:200",
    show_default=True,
    help="For --csv and --json: Hz, by commas, or first:last:count spaced on a log scale.",
)
@click.option(
    "--csv", "csv_file", type=click.Path(path_type=Path, allow_dash=True),
    help="Write the transfer function, EMF to input; - is standard output.",
)  # fmt: skip
@plot_options
@click.option("--tolerance", is_flag=True, help="Draw builds from parts that stray.")
@click.option(
    "--spread", "spread_texts", multiple=True, metavar="KIND=PERCENT",
    help="Change how far a kind strays: pot=20, midpoint=5, resistor=5, capacitor=10, cable=20.",
)  # fmt: skip
@click.option("--draws", default=1000, show_default=True, help="Builds drawn.")
@click.option("--seed", default=1, show_default=True, help="Of the draws.")
@json_option
def curves(
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    dial_list: str,
    frequency_list: str,
    csv_file: Path | None,
    plot_file: Path | None,
    force: bool,
    tolerance: bool,
    spread_texts: tuple[str, ...],
    draws: int,
    seed: int,
    as_json_text: bool,
) -> None:
    """Show level and treble over the dial, and the response at some dials."""
    rig = find_rig(rig_name)
    designs = gather_designs(design_names, designs_file)
    dials = parse_dials(dial_list)
    frequency_hz = parse_frequencies(frequency_list)
    require_plot_ending(plot_file)
    spread = read_spread(spread_texts)
    if not tolerance and spread_texts:
        raise InputError(f"--spread {spread_texts[0]} needs --tolerance")
    if not 10 <= draws <= _MOST_DRAWS:
        raise InputError(f"--draws {draws} must lie between 10 and {_MOST_DRAWS}")
    if seed < 0:
        raise InputError(f"--seed {seed} must be 0 or more")
    if csv_file is not None:
        if str(csv_file) == "-":
            write_curves(sys.stdout, rig, designs, dials, frequency_hz)
            return
        with (
            new_file(csv_file, force=force) as scratch,
            scratch.open("w", encoding="utf-8") as file,
        ):
            write_curves(file, rig, designs, dials, frequency_hz)
    audible = dials[dials > 0]
    if audible.size == 0 and csv_file is None:
        raise InputError(f"--dial {dial_list} is silent; give at least one above 0")
    if plot_file is not None:
        _plot(plot_file, force, rig, designs, audible, spread if tolerance else None, draws, seed)
    if as_json_text:
        drawn = _draw(rig, designs, audible, spread, draws, seed) if tolerance else None
        click.echo(json.dumps(as_json(rig, designs, dials, frequency_hz, drawn), indent=2))
    elif csv_file is None and plot_file is None:
        drawn = _draw(rig, designs, audible, spread, draws, seed) if tolerance else None
        click.echo("\n".join(in_words(rig, designs, audible, drawn)).rstrip())


def _plot(
    plot_file: Path,
    force: bool,
    rig: Rig,
    designs: tuple[Design, ...],
    dials: NDArray[np.float64],
    spread: Spread | None,
    draws: int,
    seed: int,
) -> None:
    from presolder.render.curveplot import MOST_PANELS, plot_curves

    if dials.size > MOST_PANELS:
        raise InputError(f"--plot draws at most {MOST_PANELS} --dial positions, got {dials.size}")
    drawn = None if spread is None else _draw(rig, designs, _PLOT_DIALS, spread, draws, seed)
    with new_file(plot_file, force=force) as scratch:
        plot_curves(scratch, rig, designs, dials, drawn)


def _draw(
    rig: Rig,
    designs: tuple[Design, ...],
    dials: NDArray[np.float64],
    spread: Spread,
    draws: int,
    seed: int,
) -> list[Bands]:
    with progress_on_terminal("drawing builds", draws * len(designs)) as progress:
        return [
            bands(rig, design.network, dials, spread, draws=draws, seed=seed, progress=progress)
            for design in designs
        ]


def read_spread(texts: tuple[str, ...]) -> Spread:
    """How far parts stray, from texts like ``capacitor=5``.

    Raises
    ------
    InputError
        If a kind is unknown or a percentage is not between 0 and 90.
    """
    spread = Spread()
    kinds = tuple(vars(spread))
    for text in texts:
        kind, _, percent = text.partition("=")
        try:
            value = float(percent) / 100.0
        except ValueError:
            value = float("nan")
        if kind not in kinds or not np.isfinite(value):
            raise InputError(
                f"--spread {text!r} must be KIND=PERCENT with a KIND of {', '.join(kinds)}"
            )
        try:
            spread = replace(spread, **{kind: value})
        except InputError as error:
            raise within(error, "--spread") from None
    return spread
