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
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.law import DIAL_MAX, Taper
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
from presolder.models.instrument.preferred import SERIES, preferred_values
from presolder.models.instrument.topologies import canonical
from presolder.models.judging.ear import Ear, shares, squared_size
from presolder.models.judging.estimate import LOW_DIALS, Estimate, estimate
from presolder.models.judging.merit import TURN, beside_ideal, turn_figures
from presolder.models.judging.ranking import EQUAL_DB, score
from presolder.models.typing import Array, ComplexArray, Flags, Indices

# Screening: enough dials to see a trend.
_MOST_SCREEN_DIALS = 4
# Complex numbers per array while screening; small arrays stay in the cache.
_CHUNK = 200_000
# The most combinations of one shape that are screened before refining.
MOST_COMBINATIONS = 70_000
MOST_PARTS_SEARCHED = 4
_KEPT_FOR_FRONT, _KEPT_FOR_PREFERENCE, _KEPT_FOR_SITUATION = 8, 150, 40
# What benches fit to pots of 250k to 1M, from the smallest to the largest; for other pots
# resistors go with the pot, capacitors against it: common practice, no source.
_COMMON_OHMS, _COMMON_FARADS, _COMMON_POTS = (47e3, 470e3), (100e-12, 2.2e-9), (250e3, 1e6)
_EITHER_WAY: tuple[Literal["zero", "full"], ...] = ("zero", "full")
# The listening of this many designs at a time.
_LISTENED = 64
# What would spoil the knob is put so far behind.
_SPOILT_DB = 100.0
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

    def at_its_edge(self, network: Network) -> tuple[Leaf, ...]:
        """Parts of a design that are the smallest or largest that it had."""
        return tuple(
            part
            for part in leaves(network)
            if not isinstance(part, Gang)
            and len(some := self.options(part)) > 1
            and part in (some[0], some[-1])
        )

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
    spoilt : bool
        Whether the knob is no longer a volume knob with it, in any situation.
    """

    shape: Network
    network: Network
    taper_phon: float
    tone_db: float
    scores_db: tuple[float, ...]
    score_db: float
    spoilt: bool


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
        Lowest score first, but what spoils the knob last; of each shape a few hundred,
        among them the best for
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
    return sorted(found, key=lambda one: (one.spoilt, one.score_db))


def _a_few(count: int) -> Indices:
    """Some of so many dials, spread over them."""
    few = np.linspace(0, count - 1, min(count, _MOST_SCREEN_DIALS)).round()
    return np.asarray(few, dtype=np.intp)


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
        and one.spoilt == first.spoilt
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
    """Those that no other beats in both taper and tone, by rising taper shift.

    Without what spoils the knob, unless all does.
    """
    best: list[Found] = []
    kept = [one for one in found if not one.spoilt] or found
    for candidate in sorted(kept, key=lambda f: (f.taper_phon, f.tone_db)):
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
        few = [_a_few(ear.conditions.dials.size) for ear in ears]
        self.estimates: list[Estimate] = [
            estimate(ear, at) for ear, at in zip(ears, few, strict=True)
        ]
        self.chains = [
            open_chain(
                ear.rig.as_heard,
                weighed.frequency_hz,
                np.concatenate([ear.conditions.dials[at], LOW_DIALS, [DIAL_MAX]]),
            )
            for ear, weighed, at in zip(ears, self.estimates, few, strict=True)
        ]
        self.bare_db = [power_decibels(squared_size(chain.bare)) for chain in self.chains]
        self.size = sum(chain.bare.size for chain in self.chains) // len(self.chains)

    def judge(
        self, shape: Network, options: list[tuple[Leaf, ...]], chosen: list[Indices] | Indices
    ) -> tuple[Array, Array]:
        """Taper and tone of designs in each situation, shape (s, designs), estimated.

        `chosen` is as for `_bridge`. What would spoil the knob is put behind all else.
        """
        tapers, tones = [], []
        for chain, weighed, bare_db in zip(self.chains, self.estimates, self.bare_db, strict=True):
            gain_db = power_decibels(squared_size(_bridge(chain, shape, options, chosen)))
            low, ten_db = slice(-1 - len(LOW_DIALS), -1), bare_db[-1]
            taper, tone = weighed.taper_and_tone(gain_db[..., : low.start, :], ten_db)
            spoilt = weighed.spoilt(gain_db[..., low, :], bare_db[low], ten_db)
            taper = taper + np.where(spoilt, _SPOILT_DB, 0.0)
            tapers.append(taper.ravel())
            tones.append((tone + np.where(spoilt, _SPOILT_DB, 0.0)).ravel())
        return np.array(tapers), np.array(tones)


class _Listener:
    """A rig in its situations, solved at all lines and dials, to judge designs in full."""

    def __init__(self, ears: Sequence[Ear]) -> None:
        self.share = shares(ears)
        self.ears = ears
        self.chains = [
            open_chain(ear.rig.as_heard, LINES_HZ, np.concatenate([ear.conditions.dials, TURN]))
            for ear in ears
        ]
        self.ideals = [ear.ideal(ear.conditions.dials) for ear in ears]

    def judged(
        self, shape: Network, options: list[tuple[Leaf, ...]], chosen: Indices
    ) -> list[Found]:
        """The chosen designs, a row of option indices each."""
        found = []
        tone_weight = self.ears[0].conditions.tone_weight
        for rows in np.array_split(chosen, np.ceil(len(chosen) / _LISTENED)):
            tapers, tones, spoilt = self._heard(shape, options, rows)
            scores = score(tapers, tones, tone_weight)
            for row, taper_phon, tone_db, each, broken in zip(
                rows, self.share @ tapers, self.share @ tones, scores.T, spoilt, strict=True
            ):
                parts = tuple(some[i] for some, i in zip(options, row, strict=True))
                own = tuple(float(one) for one in each)
                found.append(
                    Found(
                        shape, with_parts(shape, parts), float(taper_phon), float(tone_db), own,
                        float(self.share @ each), bool(broken),
                    )
                )  # fmt: skip
        return found

    def _heard(
        self, shape: Network, options: list[tuple[Leaf, ...]], rows: Indices
    ) -> tuple[Array, Array, Flags]:
        """Taper and tone of designs in each situation, shape (s, designs); spoilt in any."""
        tapers, tones, spoilt = [], [], np.zeros(len(rows), dtype=np.bool_)
        for ear, chain, ideal in zip(self.ears, self.chains, self.ideals, strict=True):
            responses = _bridge(chain, shape, options, list(rows.T))
            count = ear.conditions.dials.size
            heard = beside_ideal(ear.levels_db(responses[:, :count]), ideal, ear.wanted_level_db)
            turned = np.concatenate([chain.bare[np.newaxis, count:], responses[:, count:]])
            spoilt |= turn_figures(ear, turned).spoilt[1:].any(axis=-1)
            tapers.append(heard.taper_phon)
            tones.append(heard.tone_db)
        return np.array(tapers), np.array(tones), spoilt


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


def common_bounds(volume: Pot) -> tuple[tuple[float, float], tuple[float, float]]:
    """Smallest and largest resistor and capacitor of common practice, ohms and farads."""
    smallest, largest = _COMMON_POTS
    factor = volume.resistance_ohms / min(max(volume.resistance_ohms, smallest), largest)
    ohms, farads = _COMMON_OHMS, _COMMON_FARADS
    return (ohms[0] * factor, ohms[1] * factor), (farads[0] / factor, farads[1] / factor)


def common_shelf(volume: Pot, series: str = "E12") -> Shelf:
    """What benches fit, in values of a series, and second gangs like the pot."""
    ohms, farads = common_bounds(volume)
    return Shelf(
        tuple(Resistor(value) for value in preferred_values(series, *ohms)),
        tuple(Capacitor(value) for value in preferred_values(series, *farads)),
        stock_gangs(volume),
    )


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
