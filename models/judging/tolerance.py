"""What the spread of real parts does to level and treble, and which part does most of it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.cores import side_by_side
from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.hearing.change import NOTICED_DB, change
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.law import BENT_TAPERS
from presolder.models.instrument.network import (
    Gang,
    Leaf,
    Network,
    leaves,
    with_parts,
)
from presolder.models.instrument.onward import Volume
from presolder.models.instrument.quantities import format_code
from presolder.models.instrument.rig import Channel, Rig
from presolder.models.instrument.source import wound
from presolder.models.judging.character import Character, character
from presolder.models.judging.ear import Ear
from presolder.models.typing import Array

LOWEST_PERCENTILE, HIGHEST_PERCENTILE = 5.0, 95.0
# A capacitor of tight tolerance is worth its price from this much less; common practice, no source.
_WORTH_DB = 0.3
TIGHTER = 0.05


@dataclass(frozen=True)
class Spread:
    """How far parts stray; each is drawn evenly from its nominal value plus or minus this.

    All but the midpoint are fractions of the value; of a pickup that of its inductance. Common
    practice, no source.
    """

    pot: float = 0.20
    midpoint: float = 0.05
    resistor: float = 0.05
    capacitor: float = 0.10
    cable: float = 0.20
    pickup: float = 0.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not 0.0 <= value <= 0.9:
                raise InputError(f"{name} = {100 * value:g} % must lie between 0 and 90 %")

    def of(self, leaf: Leaf) -> float:
        """How far a part of a bypass strays."""
        return float(vars(self)[leaf.kind.strays_as])


def standard_deviation(spread: float) -> float:
    """Of what is drawn evenly from plus or minus a spread."""
    return spread / float(np.sqrt(3.0))


@dataclass(frozen=True, eq=False)
class Straying:
    """One thing that strays: its name, its kind in `Spread`, and by how much."""

    name: str
    kind: str
    spread: float


@dataclass(frozen=True, eq=False)
class Builds:
    """Level and treble over many draws: n parts, d dials.

    Attributes
    ----------
    dial : ndarray, shape (d,)
    level_db, treble_db : ndarray, shape (3, d)
        5th, 50th and 95th percentile, each as in `Character`.
    parts : tuple of Straying
        What was drawn.
    level_share, treble_share : ndarray, shape (n,)
        Share of the variance, summed over the dials, that each part explains
        by itself in a linear model; the rest is what they do together.
    treble_deviation_db : float
        Standard deviation of the treble, root mean square over the dials.
    strayed : ndarray, shape (draws, n)
        Of each build, by what fraction each part is off; of a midpoint by how much.
    drawn_level_db, drawn_treble_db : ndarray, shape (draws, d)
        Of each build.
    """

    dial: Array
    level_db: Array
    treble_db: Array
    parts: tuple[Straying, ...]
    level_share: Array
    treble_share: Array
    treble_deviation_db: float
    strayed: Array
    drawn_level_db: Array
    drawn_treble_db: Array


def straying_parts(rig: Rig, network: Network | None, spread: Spread) -> tuple[Straying, ...]:
    """The parts that a build of this design draws from a drawer."""
    parts: list[Straying] = []
    for name, one in zip(rig.volume_names, rig.volumes, strict=True):
        whose = "" if one is rig.knob else f"{name} "
        parts += _of_pot(one.volume, whose, spread)
        if one is rig.first:
            parts.append(Straying("cable", "cable", spread.cable))
        if spread.pickup and isinstance(one, Channel):
            parts.append(Straying(f"{whose}pickup", "pickup", spread.pickup))
        parts += [_of_leaf(leaf, whose, spread) for leaf in leaves(one.fitted(network))]
    return tuple(parts)


def _of_pot(pot: Pot, whose: str, spread: Spread) -> list[Straying]:
    parts = [Straying(f"{whose}volume pot", "pot", spread.pot)]
    if pot.taper.kind in BENT_TAPERS:
        parts.append(Straying(f"{whose}taper midpoint", "midpoint", spread.midpoint))
    return parts


def _of_leaf(leaf: Leaf, whose: str, spread: Spread) -> Straying:
    code = format_code(leaf.value, leaf.kind.unit)
    name = f"gang {code}" if isinstance(leaf, Gang) else code
    return Straying(f"{whose}{name}", leaf.kind.strays_as, spread.of(leaf))


def draw_builds(
    rig: Rig,
    network: Network | None,
    dial: Array,
    spread: Spread | None = None,
    *,
    draws: int = 1000,
    seed: int = 1,
    progress: Callable[[int], None] = lambda _: None,
) -> Builds:
    """Draw builds of a design and see where level and treble fall.

    Parameters
    ----------
    rig, network
        The design on its rig.
    dial : ndarray, shape (d,)
        Positions above 0.
    spread : Spread
        How far parts stray.
    draws : int
        Number of builds.
    seed : int
        Of the random numbers; the same seed gives the same builds.
    progress : callable
        Called with 1 after each build.

    Returns
    -------
    Builds

    Notes
    -----
    The parts stray independently, so that a standardised regression
    coefficient, squared, is a part's share of the variance (Saltelli et al.,
    Global Sensitivity Analysis, section 1.2.5).
    """
    spread = spread or Spread()
    parts = straying_parts(rig, network, spread)
    offsets = np.random.default_rng(seed).uniform(-1.0, 1.0, (draws, len(parts)))
    offsets *= [part.spread for part in parts]
    level, treble = np.empty((draws, dial.size)), np.empty((draws, dial.size))

    def build(offset: Array) -> Character:
        return character(*drawn(rig, network, offset, spread), dial)

    for i, built in enumerate(side_by_side(build, offsets)):
        level[i], treble[i] = built.level_db, built.treble_db
        progress(1)
    return _summed_up(dial, parts, offsets, level, treble)


def _summed_up(
    dial: Array, parts: tuple[Straying, ...], offsets: Array, level: Array, treble: Array
) -> Builds:
    asked = (LOWEST_PERCENTILE, 50.0, HIGHEST_PERCENTILE)
    return Builds(
        dial,
        np.percentile(level, asked, axis=0),
        np.percentile(treble, asked, axis=0),
        parts,
        _shares(offsets, level),
        _shares(offsets, treble),
        float(np.sqrt(treble.var(axis=0).mean())),
        offsets,
        level,
        treble,
    )


def drawn(
    rig: Rig, network: Network | None, offsets: Array, spread: Spread
) -> tuple[Rig, Network | None]:
    """The build with these offsets, which stand in the order of `straying_parts`."""
    left = iter(float(offset) for offset in offsets)
    cable_farads, fitted = rig.cable_farads, network
    volumes: list[Channel | Volume] = []
    for one in rig.volumes:
        volume = _strayed_pot(one.volume, left)
        if one is rig.first:
            cable_farads *= 1.0 + next(left)
        kept: Channel | Volume
        if spread.pickup and isinstance(one, Channel):
            kept = replace(one, pickup=wound(one.pickup, 1.0 + next(left)))
        else:
            kept = one
        own = strayed_network(one.fitted(network), left)
        if one is rig.knob:
            fitted = own
        if one is rig.knob or own is None:
            volumes.append(replace(kept, volume=volume))
        else:
            volumes.append(replace(kept, volume=volume, bypass=own))
    return replace(rig.with_volumes(tuple(volumes)), cable_farads=cable_farads), fitted


def _strayed_pot(pot: Pot, left: Iterator[float]) -> Pot:
    ohms, taper = pot.resistance_ohms * (1.0 + next(left)), pot.taper
    if taper.kind in BENT_TAPERS:
        taper = replace(taper, midpoint=min(max(taper.midpoint + next(left), 0.01), 0.99))
    return Pot(ohms, taper)


def strayed_network(network: Network | None, left: Iterator[float]) -> Network | None:
    """The network with each part off by the next fraction of its value."""
    if network is None:
        return None
    parts = (leaf.with_value(leaf.value * (1.0 + next(left))) for leaf in leaves(network))
    return with_parts(network, tuple(parts))


def _shares(offsets: Array, outcome: Array) -> Array:
    """Share of the variance of all columns of the outcome that each offset explains."""
    deviation = offsets.std(axis=0)
    moved = deviation > 0
    x = (offsets[:, moved] - offsets[:, moved].mean(axis=0)) / deviation[moved]
    y = outcome - outcome.mean(axis=0)
    slopes, *_ = np.linalg.lstsq(x, y, rcond=None)
    total = np.square(y).mean(axis=0).sum()
    shares = np.zeros(offsets.shape[1])
    if total > 0:
        shares[moved] = np.square(slopes).sum(axis=1) / total
    return shares


def heard_ends(ear: Ear, network: Network | None, dial: Array, spread: Spread) -> Array:
    """How far each part, at an end of its spread, moves the sound.

    Parameters
    ----------
    ear : Ear
        The rig and the conditions.
    network : Network or None
    dial : ndarray, shape (d,)
        Positions above 0.
    spread : Spread

    Returns
    -------
    ndarray, shape (n,)
        In the order of `straying_parts`: the largest change of excitation in
        any band at any of the dials, equally loud, dB.
    """
    parts = straying_parts(ear.rig, network, spread)
    nominal = ear.listen(ear.response(network, dial))
    ends = []
    for i, part in enumerate(parts):
        for end in (-part.spread, part.spread):
            offsets = np.zeros(len(parts))
            offsets[i] = end
            rig, fitted = drawn(ear.rig.as_heard, network, offsets, spread)
            ends.append(transfer(chain_equations(rig, fitted), LINES_HZ, dial))
    if not parts:
        return np.zeros(0)
    moved = change(ear.levels_db(np.array(ends)), nominal).largest_db
    return np.asarray(moved.reshape(len(parts), -1).max(axis=1), dtype=np.float64)


@dataclass(frozen=True)
class TighterCapacitor:
    """Largest change of the sound by the capacitors' spread, dB, as it is and with 5 %."""

    now_db: float
    then_db: float

    @property
    def worth_it(self) -> bool:
        """Whether ears notice the spread as it is, and less of it with 5 %."""
        return self.now_db >= NOTICED_DB and self.then_db <= self.now_db - _WORTH_DB


def tighter_capacitor(
    ear: Ear, network: Network | None, dial: Array, spread: Spread
) -> TighterCapacitor | None:
    """What 5 % capacitors would do; None if there are none, or they are that good already."""
    kinds = [part.kind for part in straying_parts(ear.rig, network, spread)]
    at = [i for i, kind in enumerate(kinds) if kind == "capacitor"]
    if not at or spread.capacitor <= TIGHTER:
        return None
    now = heard_ends(ear, network, dial, spread)[at].max()
    then = heard_ends(ear, network, dial, replace(spread, capacitor=TIGHTER))[at].max()
    return TighterCapacitor(float(now), float(then))
