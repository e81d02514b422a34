"""Stairs and A/B recordings: the phrase dial by dial, and each design beside the bare pot."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from presolder.models.audio.matching import shared_gain_db
from presolder.models.audio.stages import Voice
from presolder.models.audio.stairs import (
    DIALS,
    PHRASE_SECONDS,
    Strip,
    beside_bare,
    gains_to_loudest,
    held_phrases,
    stairs,
)
from presolder.models.decibels import amplitude, decibels
from presolder.models.errors import InputError, one_line
from presolder.models.instrument.built_in import BUILT_IN
from presolder.models.instrument.controls import require_turned_up
from presolder.models.instrument.network import Design
from presolder.models.typing import Array
from presolder.render.report.numbers import rounded_level

MOST_DIALS = 20
SHORTEST_SECONDS, LONGEST_SECONDS = 0.5, 30.0

_SAID = {
    "stairs": "dial by dial",
    "ab_true": "beside bare, at true loudness",
    "ab_matched": "beside bare, all as loud as at 10",
}


@dataclass(frozen=True)
class Comparing:
    """What to make beside the sweeps.

    Attributes
    ----------
    stairs, beside_bare : bool
        The phrase at each dial in turn; bare, design, bare at each.
    held_at : tuple of float
        1 to 20 dials above 0.
    phrase_s : float
        How much of the take is the phrase, 0.5 to 30 s; all of it, if it is shorter.

    Raises
    ------
    InputError
        If a dial or the length is out of range.
    """

    stairs: bool = False
    beside_bare: bool = False
    held_at: tuple[float, ...] = DIALS
    phrase_s: float = PHRASE_SECONDS

    def __post_init__(self) -> None:
        object.__setattr__(self, "held_at", as_dials(self.held_at))
        if not 1 <= len(self.held_at) <= MOST_DIALS:
            raise InputError(f"stair dials must be 1 to {MOST_DIALS} positions")
        for dial in self.held_at:
            require_turned_up("stair dials", dial)
        if not SHORTEST_SECONDS <= self.phrase_s <= LONGEST_SECONDS:
            raise InputError(
                f"a phrase of {self.phrase_s:g} s must lie between {SHORTEST_SECONDS:g}"
                f" and {LONGEST_SECONDS:g} s"
            )

    @property
    def wanted(self) -> bool:
        """Whether there is anything to make."""
        return self.stairs or self.beside_bare


def as_dials(given: object) -> tuple[float, ...]:
    """What is given for dials, a number or several.

    Raises
    ------
    InputError
        If it is neither.
    """
    try:
        array = np.atleast_1d(np.asarray(given, dtype=np.float64))
    except (ValueError, TypeError, OverflowError):
        array = np.empty((0, 0))
    if array.ndim != 1:
        raise InputError(f"held_at = {one_line(repr(given))[:40]}: a number, or several, is wanted")
    return tuple(array.tolist())


NOTHING_BESIDE = Comparing()


@dataclass(frozen=True, eq=False)
class Trial:
    """One recording, levelled.

    Attributes
    ----------
    kind : str
        ``stairs``, ``ab_true`` or ``ab_matched``.
    design : Design
    strip : Strip
        Its audio has the gain of its kind.
    """

    kind: str
    design: Design
    strip: Strip

    @property
    def said(self) -> str:
        """The kind as a title has it."""
        return _SAID[self.kind]

    @property
    def folder_and_ending(self) -> tuple[str, str]:
        """Where its file goes, and what follows the design's name there."""
        folder, _, level = self.kind.partition("_")
        return folder, f"_{level}" if level else ""

    def plain(self, file: str) -> dict[str, Any]:
        """For a manifest."""
        return {
            "file": file,
            "kind": self.kind,
            "design": self.design.name,
            "starts_s": [round(start, 4) for start in self.strip.starts_s],
            "sample_peak_dbfs": rounded_level(float(decibels(self.strip.peak))),
        }


def comparisons(
    heard: Voice, take: Array, asked: Comparing, progress: Callable[[int], None] = lambda _: None
) -> list[Trial]:
    """Make the recordings asked for.

    Parameters
    ----------
    heard : Voice
        If A/B is asked for, the bare pot must be among its designs.
    take : ndarray, shape (channels, n)
    asked : Comparing
    progress : callable
        Called with 1 after each dial.

    Returns
    -------
    list of Trial
        By kind, then design. Those of a kind share one gain, so that levels
        within it compare.
    """
    rate = heard.renderer.sample_rate_hz
    phrase = take[:, : round(asked.phrase_s * rate)]
    held = []
    for dial in asked.held_at:
        held += held_phrases(heard, phrase, (dial,))
        progress(1)
    designs = heard.renderer.designs
    made: list[Trial] = []
    if asked.stairs:
        strips = [stairs(held, i, rate) for i in range(len(designs))]
        made += _levelled("stairs", designs, strips)
    if asked.beside_bare:
        bare = next(i for i, design in enumerate(designs) if design.network is None)
        others = [i for i in range(len(designs)) if i != bare]
        gains = gains_to_loudest(held, bare, rate)
        chosen = tuple(designs[i] for i in others)
        as_it_is = [beside_bare(held, i, bare, rate) for i in others]
        matched = [beside_bare(held, i, bare, rate, gains) for i in others]
        made += _levelled("ab_true", chosen, as_it_is) + _levelled("ab_matched", chosen, matched)
    return made


def with_bare(designs: tuple[Design, ...]) -> tuple[Design, ...]:
    """The designs, and the bare pot first if it is not among them."""
    if any(design.network is None for design in designs):
        return designs
    return (BUILT_IN[0], *designs)


def _levelled(kind: str, designs: tuple[Design, ...], strips: list[Strip]) -> list[Trial]:
    if not strips:
        return []
    gain = amplitude(shared_gain_db(float(decibels(strip.peak)) for strip in strips))
    return [
        Trial(kind, design, strip.louder(gain))
        for design, strip in zip(designs, strips, strict=True)
    ]
