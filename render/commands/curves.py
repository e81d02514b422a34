"""The curves command: what designs do over the dial, as a table, a plot, CSV or JSON."""

from dataclasses import replace
from pathlib import Path

import click
import numpy as np

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.judging.tolerance import Builds, Spread
from presolder.models.typing import Array
from presolder.render import plots
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    design_options,
    jobs_option,
    json_option,
    plot_options,
    rig_option,
)
from presolder.render.commands.output import new_text, only_this, progress_on_terminal, say
from presolder.render.commands.texts import parse_dials, parse_frequencies, require_plot_ending
from presolder.render.files.folder import new_file

_MOST_DRAWS = 100_000
_PLOT_DIALS = np.linspace(0.5, 10.0, 20)


@click.command(
    epilog=examples(
        "presolder curves --rig my-guitar.toml --design cap --show 8,6,4",
        "presolder curves --design '150k || 1n' --plot curves.svg",
        "presolder curves --csv - --frequency 100,1000,5000 > curves.csv",
    )
)
@rig_option
@design_options()
@click.option(
    "--show",
    "dial_list",
    default="10,7,5,3,1",
    show_default=True,
    help="Show these dials, by commas.",
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
    help="Write the transfer function, EMF to input, to this file; - is standard output.",
)  # fmt: skip
@plot_options
@click.option(
    "--tolerance",
    is_flag=True,
    help="Draw builds at random from parts that stray, and show how far results spread.",
)
@click.option(
    "--spread", "spread_texts", multiple=True, metavar="KIND=PERCENT",
    help="Change how far a kind strays: pot=20, midpoint=5, resistor=5, capacitor=10, cable=20.",
)  # fmt: skip
@click.option("--draws", default=1000, show_default=True, help="Draw so many builds.")
@click.option(
    "--seed",
    default=1,
    show_default=True,
    help="Begin the draws with this number; the same gives the same.",
)
@jobs_option
@json_option
def curves(
    rig: Rig,
    designs: tuple[Design, ...] | None,
    dial_list: str,
    frequency_list: str,
    csv_file: Path | None,
    plot_file: Path | None,
    force: bool,
    tolerance: bool,
    spread_texts: tuple[str, ...],
    draws: int,
    seed: int,
    as_json: bool,
) -> None:
    """Show level and treble over the dial, and the response at some dials."""
    alone = only_this(as_json, force=force, csv=csv_file, plot=plot_file)
    designs = designs or built_in_designs(rig)
    dials, hz = parse_dials(dial_list, "--show"), parse_frequencies(frequency_list)
    require_plot_ending(plot_file)
    spread = _read_draws(tolerance, spread_texts, draws, seed)
    audible = dials[dials > 0]
    if audible.size == 0 and csv_file is None:
        raise InputError(f"--show {dial_list} is silent; give at least one above 0")
    if (
        csv_file is not None
        and plot_file is not None
        and csv_file.absolute() == plot_file.absolute()
    ):
        raise InputError(f"--csv {csv_file} and --plot {plot_file} are one file; give two")
    if plot_file is not None:
        _plot(plot_file, force, rig, designs, audible, spread, draws, seed)
    if csv_file is not None:
        result = ps.curves(rig, designs, dials, hz=hz)
        with new_text(csv_file, force=force) as file:
            result.write_csv(file)
    if not alone and (as_json or (csv_file is None and plot_file is None)):
        with progress_on_terminal("drawing builds") as progress:
            result = ps.curves(
                rig, designs, dials, hz=hz, spread=spread, draws=draws, seed=seed,
                progress=progress,
            )  # fmt: skip
        say(result, as_json)


def _read_draws(
    tolerance: bool, spread_texts: tuple[str, ...], draws: int, seed: int
) -> Spread | None:
    """How far parts stray, or None if no builds are asked for."""
    spread = read_spread(spread_texts)
    if not tolerance and spread_texts:
        raise InputError(f"--spread {spread_texts[0]} needs --tolerance")
    if not 10 <= draws <= _MOST_DRAWS:
        raise InputError(f"--draws {draws} must lie between 10 and {_MOST_DRAWS}")
    if seed < 0:
        raise InputError(f"--seed {seed} must be 0 or more")
    return spread if tolerance else None


def _plot(
    plot_file: Path,
    force: bool,
    rig: Rig,
    designs: tuple[Design, ...],
    dials: Array,
    spread: Spread | None,
    draws: int,
    seed: int,
) -> None:
    if dials.size > plots.MOST_PANELS:
        raise InputError(
            f"--plot draws at most {plots.MOST_PANELS} --show positions, got {dials.size}"
        )
    builds: tuple[Builds, ...] | None = None
    if spread is not None:
        with progress_on_terminal("drawing builds") as progress:
            builds = ps.curves(
                rig, designs, _PLOT_DIALS, spread=spread, draws=draws, seed=seed, progress=progress
            ).builds
    with new_file(plot_file, force=force, ending=".svg") as scratch:
        plots.plot_curves(scratch, rig, designs, dials, builds)


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
        with place("--spread"):
            spread = replace(spread, **{kind: value})
    return spread
