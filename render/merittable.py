"""Figures of merit for people and programs, and the preference that ranks by them."""

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import click
import numpy as np
from numpy.typing import NDArray

from presolder.models.designs import BUILT_IN
from presolder.models.errors import InputError
from presolder.models.merit import DIALS, Merit, merit, score
from presolder.models.network import Design, Network, format_network
from presolder.models.quantities import format_quantity
from presolder.models.rig import Rig
from presolder.render.options import parse_numbers

MERIT_HEAD = "  score  tone RMS  taper RMS  worst  spike  left at 1  coil feeds"
DEFAULT_KEEP = "0.7"
_WORDS = {"taper": 0.0, "tone": 1.0}


def preference_options(function: Callable[..., None]) -> Callable[..., None]:
    """``--keep`` and ``--dials``."""
    function = click.option(
        "--dials", "dial_list", default="3,4,5,6,7,8,9", show_default=True,
        help="Where the knob is left, by commas.",
    )(function)  # fmt: skip
    return click.option(
        "--keep",
        default=DEFAULT_KEEP,
        show_default=True,
        help="taper, tone, or the tone's weight 0 to 1.",
    )(function)


def read_preference(keep: str) -> float:
    """The tone's weight from ``taper``, ``tone`` or a number.

    Raises
    ------
    InputError
        If it is none of these.
    """
    if keep in _WORDS:
        return _WORDS[keep]
    try:
        weight = float(keep)
    except ValueError:
        weight = -1.0
    if not 0.0 <= weight <= 1.0:
        raise InputError(f"--keep {keep!r} must be taper, tone, or a number from 0 to 1")
    return weight


def read_used_dials(text: str) -> NDArray[np.float64]:
    """Positions where the knob is left, above 0 and up to 10.

    Raises
    ------
    InputError
        If one lies outside.
    """
    dials = parse_numbers("--dials", text)
    for dial in dials:
        if not 0 < dial <= 10:
            raise InputError(f"--dials: {dial:g} must lie above 0 and up to 10")
    return dials


def score_of(figures: Merit, tone_weight: float) -> float:
    """The preference's score of one design, dB."""
    return float(score(figures.taper_rms_db, figures.tone_rms_db, tone_weight))


def best_built_in(
    rig: Rig, tone_weight: float, dials: NDArray[np.float64] = DIALS
) -> tuple[Design, float]:
    """The built-in design, other than bare, that the preference puts first, and its score."""
    scored = [
        (design, score_of(merit(rig, design.network, dials), tone_weight))
        for design in BUILT_IN
        if design.network is not None
    ]
    return min(scored, key=lambda pair: pair[1])


def merit_cells(figures: Merit, tone_weight: float) -> str:
    """One line under `MERIT_HEAD`."""
    return (
        f"{score_of(figures, tone_weight):7.2f}{figures.tone_rms_db:10.2f}"
        f"{figures.taper_rms_db:11.2f}{figures.taper_worst_db:7.1f}{figures.spike_db:7.1f}"
        f"{figures.leftover_db:11.1f}  {format_quantity(figures.load_ohms, 'ohm')}"
    )


def merit_json(network: Network | None, figures: Merit, tone_weight: float) -> dict[str, Any]:
    """A design's expression, score and figures."""
    return {
        "expression": format_network(network) or None,
        "score_db": score_of(figures, tone_weight),
        **asdict(figures),
    }
