"""Searching values that one can buy: which parts suit this rig and this preference.

Every combination of preferred values is screened at a few dials and
frequencies, all combinations of a topology at once, by a linear estimate of
what ears make of it; the promising ones are then judged by the full measure.
Where a series is too dense for that, every few values are screened first, and
the neighbourhood of the promising ones after that.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np

from presolder.models.circuit.ports import OpenChain, bridged, combined, leaf_admittance, open_chain
from presolder.models.cores import side_by_side
from presolder.models.decibels import power_decibels
from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.hearing.change import change, sound
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import (
    Capacitor,
    Design,
    Gang,
    Leaf,
    Network,
    Resistor,
    leaves,
    with_parts,
)
from presolder.models.instrument.placement import series_of
from presolder.models.instrument.preferred import SERIES
from presolder.models.instrument.topologies import canonical
from presolder.models.judging.ear import Ear, shares, squared_size, whole_level_db
from presolder.models.judging.estimate import Estimate, estimate
from presolder.models.judging.merit import root_mean_square
from presolder.models.judging.ranking import EQUAL_DB, score
from presolder.models.typing import Array, ComplexArray, Indices

# Screening: enough dials to see a trend.
_MOST_SCREEN_DIALS = 4
# Complex numbers per array while screening; small arrays stay in the cache.
_CHUNK = 200_000
# The most combinations of one shape that are screened before refining.
MOST_COMBINATIONS = 70_000
MOST_PARTS_SEARCHED = 4
_KEPT_FOR_FRONT, _KEPT_FOR_PREFERENCE, _KEPT_FOR_SITUATION = 8, 150, 40
_EITHER_WAY: tuple[Literal["zero", "full"], ...] = ("zero", "full")
# The listening of this many designs at a time.
_LISTENED = 64
_FRONT_WEIGHTS = np.linspace(0.0, 1.0, 21)


@dataclass(frozen=True)
class Shelf:
    """The parts to choose from.

    Attributes
    ----------
    resistors, capacitors : tuple of Leaf
        Rising in value.
    gangs : tuple of Gang
    pieces : mapping or None
        How many designs' worth there is of each part; None for no end of them.
    """

    resistors: tuple[Resistor, ...]
    capacitors: tuple[Capacitor, ...]
    gangs: tuple[Gang, ...]
    pieces: Mapping[Leaf, int] | None = None

    def has(self, parts: Sequence[Leaf]) -> bool:
        """Whether there are enough pieces of each for one design."""
        if self.pieces is None:
            return True
        return all(self.pieces[leaf] >= count for leaf, count in Counter(parts).items())

    def options(self, leaf: Leaf) -> tuple[Leaf, ...]:
        """What may stand in a place of this kind."""
        match leaf:
            case Resistor():
                return self.resistors
            case Capacitor():
                return self.capacitors
            case Gang():
                return self.gangs


@dataclass(frozen=True)
class Found:
    """One design that the search found worth judging in full.

    Attributes
    ----------
    shape : Network
        The topology it was searched as.
    network : Network
    taper_phon, tone_db : float
        As in `Merit`; weighted means over the situations.
    scores_db : tuple of float
        In each situation.
    score_db : float
        Their weighted mean.
    """

    shape: Network
    network: Network
    taper_phon: float
    tone_db: float
    scores_db: tuple[float, ...]
    score_db: float


def tailor(
    ears: Sequence[Ear],
    shapes: tuple[Network, ...],
    shelf: Shelf,
    *,
    most_combinations: int = MOST_COMBINATIONS,
    progress: Callable[[int], None] = lambda _: None,
) -> list[Found]:
    """Search all shapes.

    Parameters
    ----------
    ears : sequence of Ear
        The situations, whose weighted scores are to be low; of one preference
        and with the knob left at as many dials.
    shapes : tuple of Network
        Topologies; the values in them do not matter.
    shelf : Shelf
        Values to choose from.
    most_combinations : int
        Shapes with more are screened at every few values first.
    progress : callable
        Called with 1 after each shape.

    Returns
    -------
    list of Found
        Lowest score first; of each shape a few hundred, among them the best for
        the preference, those near the front between taper and tone, and those
        that do best in each situation.
    """
    weight = ears[0].conditions.tone_weight
    coarse, fine = _Screen(ears), _Listener(ears)

    def of_one(shape: Network) -> list[Found]:
        options = [shelf.options(leaf) for leaf in leaves(shape)]
        chosen = _promising(coarse, shape, options, weight, most_combinations, shelf)
        return fine.judged(shape, options, chosen) if len(chosen) else []

    found: list[Found] = []
    for some in side_by_side(of_one, shapes):
        found += some
        progress(1)
    return sorted(found, key=lambda one: one.score_db)


def _a_few(dial: Array) -> Array:
    spread = np.linspace(0, dial.size - 1, min(dial.size, _MOST_SCREEN_DIALS)).round()
    return np.asarray(dial[spread.astype(int)], dtype=np.float64)


def best_of_each(found: list[Found]) -> list[Found]:
    """The first of each topology, in order; `found` has the lowest score first."""
    firsts: dict[object, Found] = {}
    for one in found:
        firsts.setdefault(canonical(one.shape), one)
    return list(firsts.values())


def plateau(found: list[Found]) -> list[Found]:
    """Those of the first one's topology that sound as good as it, the commonest parts first.

    `found` has the lowest score first. Common are values of sparse series.
    """
    first = found[0]
    equal = [
        one
        for one in found
        if canonical(one.shape) == canonical(first.shape)
        and one.score_db < first.score_db + EQUAL_DB
    ]
    return sorted(equal, key=lambda one: (_rarity(one.network), one.score_db))


def _rarity(network: Network) -> int:
    """How dense the series are that its values are from, summed."""
    total = 0
    for part in leaves(network):
        series = series_of(part.value)
        total += len(SERIES) if series is None else SERIES.index(series)
    return total


def front(found: list[Found]) -> list[Found]:
    """Those that no other beats in both taper and tone, by rising taper shift."""
    best: list[Found] = []
    for candidate in sorted(found, key=lambda f: (f.taper_phon, f.tone_db)):
        if not best or candidate.tone_db < best[-1].tone_db:
            best.append(candidate)
    return best


def _bridge(
    chain: OpenChain,
    shape: Network,
    options: list[tuple[Leaf, ...]],
    chosen: list[Indices] | Indices,
) -> ComplexArray:
    """Responses of designs, put across a solved chain.

    `chosen` has for each part the indices of its options; they broadcast
    against each other, and the leading axes of the result are what they
    broadcast to.
    """
    place = []
    for stands in chain.dial:
        parts = [
            _stacked(some, chain.s, stands)[index]
            for some, index in zip(options, chosen, strict=True)
        ]
        place.append(combined(shape, iter(parts)))
    return bridged(chain, tuple(place))


class _Screen:
    """A rig in its situations, solved at a few dials and frequencies, to estimate many designs."""

    def __init__(self, ears: Sequence[Ear]) -> None:
        self.share = shares(ears)
        self.estimates: list[Estimate] = [estimate(ear) for ear in ears]
        self.chains = [
            open_chain(
                ear.rig.as_heard,
                weighed.frequency_hz,
                np.concatenate([[10.0], _a_few(ear.conditions.dials)]),
            )
            for ear, weighed in zip(ears, self.estimates, strict=True)
        ]
        self.bare_db = [power_decibels(squared_size(chain.bare)) for chain in self.chains]
        wanted = [ear.conditions.wanted_db for ear in ears]
        self.wanted_db = [None if one is None else _a_few(one) for one in wanted]
        self.size = sum(chain.bare.size for chain in self.chains) // len(self.chains)

    def judge(
        self, shape: Network, options: list[tuple[Leaf, ...]], chosen: list[Indices] | Indices
    ) -> tuple[Array, Array]:
        """Taper and tone of designs in each situation, shape (s, designs), estimated.

        `chosen` is as for `_bridge`.
        """
        tapers, tones = [], []
        for chain, weighed, bare_db, wanted_db in zip(
            self.chains, self.estimates, self.bare_db, self.wanted_db, strict=True
        ):
            gain_db = power_decibels(squared_size(_bridge(chain, shape, options, chosen)))
            taper, tone = weighed.taper_and_tone(gain_db, bare_db, wanted_db)
            tapers.append(taper.ravel())
            tones.append(tone.ravel())
        return np.array(tapers), np.array(tones)


class _Listener:
    """A rig in its situations, solved at all lines and dials, to judge designs in full."""

    def __init__(self, ears: Sequence[Ear]) -> None:
        self.share = shares(ears)
        self.ears = ears
        self.chains = [open_chain(ear.rig.as_heard, LINES_HZ, ear.conditions.dials) for ear in ears]
        # What is to be kept at each dial: a level, or the bare pot's loudness.
        wanted = [ear.conditions.wanted_db for ear in ears]
        self.wanted = [one is not None for one in wanted]
        self.kept = [
            ear.listen(chain.bare).phon if one is None else one + ear.ten_db
            for ear, chain, one in zip(ears, self.chains, wanted, strict=True)
        ]

    def judged(
        self, shape: Network, options: list[tuple[Leaf, ...]], chosen: Indices
    ) -> list[Found]:
        """The chosen designs, a row of option indices each."""
        found = []
        tone_weight = self.ears[0].conditions.tone_weight
        for rows in np.array_split(chosen, np.ceil(len(chosen) / _LISTENED)):
            tapers, tones = self._heard(shape, options, rows)
            scores = score(tapers, tones, tone_weight)
            for row, taper_phon, tone_db, each in zip(
                rows, self.share @ tapers, self.share @ tones, scores.T, strict=True
            ):
                parts = tuple(some[i] for some, i in zip(options, row, strict=True))
                network = with_parts(shape, parts)
                own = tuple(float(one) for one in each)
                overall = float(self.share @ each)
                found.append(Found(shape, network, float(taper_phon), float(tone_db), own, overall))
        return found

    def _heard(
        self, shape: Network, options: list[tuple[Leaf, ...]], rows: Indices
    ) -> tuple[Array, Array]:
        """Taper and tone of designs in each situation, shape (s, designs)."""
        tapers, tones = [], []
        for ear, chain, wanted, kept in zip(
            self.ears, self.chains, self.wanted, self.kept, strict=True
        ):
            levels_db = ear.levels_db(_bridge(chain, shape, options, list(rows.T)))
            level = whole_level_db(levels_db) if wanted else sound(levels_db).phon
            tapers.append(root_mean_square(level - kept))
            tones.append(root_mean_square(change(levels_db, ear.at_ten).tone_db))
        return np.array(tapers), np.array(tones)


def _stacked(parts: tuple[Leaf, ...], s: ComplexArray, dial: Array) -> ComplexArray:
    """Admittances of all options of one part, shape (options, d or 1, f or 1)."""
    return np.stack([leaf_admittance(part, s, dial) for part in parts])


def _promising(
    bench: _Screen,
    shape: Network,
    options: list[tuple[Leaf, ...]],
    tone_weight: float,
    most_combinations: int,
    shelf: Shelf,
) -> Indices:
    """Indices of the designs worth judging in full, shape (designs, parts)."""
    densest = int(most_combinations ** (1 / len(options)))
    steps = [int(np.ceil(len(some) / densest)) for some in options]
    grids = [np.arange(0, len(some), step) for some, step in zip(options, steps, strict=True)]
    rows, tapers, tones = _screened(bench, shape, options, grids)
    there = _there(rows, options, shelf)
    if there.size == 0:
        return rows[:0]
    chosen = _best(rows[there], tapers[:, there], tones[:, there], tone_weight, bench.share)
    last = np.array([len(some) - 1 for some in options])
    while max(steps) > 1:
        steps = [int(np.ceil(step / 2)) for step in steps]
        moves = np.array(list(product(*([-step, 0, step] for step in steps))))
        near = (chosen[:, None, :] + moves).reshape(-1, len(options))
        rows = np.unique(np.clip(near, 0, last), axis=0)
        rows = rows[_there(rows, options, shelf)]
        judged = [
            bench.judge(shape, options, part.T[:, :, None])
            for part in np.array_split(rows, np.ceil(len(rows) * bench.size / _CHUNK))
        ]
        taper, tone = (np.concatenate([pair[k] for pair in judged], axis=1) for k in (0, 1))
        chosen = _best(rows, taper, tone, tone_weight, bench.share)
    return chosen


def _there(rows: Indices, options: list[tuple[Leaf, ...]], shelf: Shelf) -> Indices:
    """Which of the designs there are enough pieces for."""
    if shelf.pieces is None:
        return np.arange(len(rows))
    found = [
        at
        for at, row in enumerate(rows)
        if shelf.has([some[i] for some, i in zip(options, row, strict=True)])
    ]
    return np.array(found, dtype=np.intp)


def _screened(
    bench: _Screen, shape: Network, options: list[tuple[Leaf, ...]], grids: list[Indices]
) -> tuple[Indices, Array, Array]:
    """Judge every combination; rows of indices, taper and tone RMS in each situation."""
    rest = int(np.prod([grid.size for grid in grids[1:]])) * bench.size
    tapers, tones = [], []
    for first in np.array_split(grids[0], np.ceil(grids[0].size * rest / _CHUNK)):
        taper, tone = bench.judge(shape, options, list(np.ix_(first, *grids[1:])))
        tapers.append(taper)
        tones.append(tone)
    rows = np.stack([index.ravel() for index in np.meshgrid(*grids, indexing="ij")], axis=-1)
    return rows, np.concatenate(tapers, axis=1), np.concatenate(tones, axis=1)


def _best(rows: Indices, tapers: Array, tones: Array, tone_weight: float, share: Array) -> Indices:
    """The rows that some weight between taper and tone puts high, or some situation."""
    taper, tone = share @ tapers, share @ tones
    kept = [_lowest(score(taper, tone, tone_weight), _KEPT_FOR_PREFERENCE)]
    kept += [_lowest(score(taper, tone, weight), _KEPT_FOR_FRONT) for weight in _FRONT_WEIGHTS]
    if share.size > 1:
        kept += [_lowest(own, _KEPT_FOR_SITUATION) for own in score(tapers, tones, tone_weight)]
    return rows[np.unique(np.concatenate(kept))]


def _lowest(values: Array, count: int) -> Indices:
    return np.argpartition(values, min(count, values.size) - 1)[:count]


def require_searchable(design: Design) -> Network:
    """The network whose values are to be searched.

    Raises
    ------
    InputError
        If it has no parts, or too many.
    """
    if design.network is None:
        raise InputError(f"{design.name} has no parts to search for")
    count = len(leaves(design.network))
    if count > MOST_PARTS_SEARCHED:
        raise InputError(
            f"{design.name!r} has {count} parts; at most {MOST_PARTS_SEARCHED} are searched"
        )
    return design.network


def by_steps(shapes: tuple[Network, ...], shelf: Shelf) -> bool:
    """Whether one of the shapes allows so many designs that not each is tried."""
    return any(combinations(shape, shelf) > MOST_COMBINATIONS for shape in shapes)


def combinations(shape: Network, shelf: Shelf) -> int:
    """How many designs of this shape the shelf allows."""
    return int(np.prod([len(shelf.options(leaf)) for leaf in leaves(shape)]))


def stock_gangs(volume: Pot) -> tuple[Gang, ...]:
    """Second gangs of the dual pots that are sold from stock, either way round."""
    return tuple(Gang(volume.resistance_ohms, volume.taper, at_ten) for at_ten in _EITHER_WAY)


def dual_pot_gangs(ohms: tuple[float, ...]) -> tuple[Gang, ...]:
    """Second gangs of special dual pots: linear or audio, wired either way round."""
    return tuple(
        Gang(value, taper, at_ten)
        for value in ohms
        for taper in (Taper("linear"), Taper("audio"))
        for at_ten in _EITHER_WAY
    )
