"""The turn of the knob: the level wanted over it, and which pot and bypass give it.

A pot's rotation is taken as 270 degrees, its dial as linear in it; audio tracks
are sold with a tenth to a fifth of their resistance below the wiper at half.
Both are common practice, no source.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from presolder.models.errors import InputError
from presolder.models.hearing.change import change
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.law import BENT_TAPERS, DIAL_MAX, Taper
from presolder.models.instrument.network import (
    Gang,
    Network,
    leaves,
    with_parts,
)
from presolder.models.judging.ear import Ear, shares, whole_level_db
from presolder.models.judging.merit import beside_ideal
from presolder.models.judging.ranking import Effort, effort, in_order, score
from presolder.models.judging.search import Shelf, stock_gangs, tailor
from presolder.models.typing import Array

ROTATION_DEGREES = 270.0
MIDPOINTS_SOLD = (0.1, 0.15, 0.2)
# Half as loud: a doubling of loudness is 10 phon (ISO 532-1, above 40 phon).
HALF_AS_LOUD_DB = 10.0
# Where nothing changes yet at the upper end, and what counts as silent at the lower.
_UNCHANGED_DB, _SILENT_DB = 1.0, 60.0
# A second track may be off by so much of its value and at half: common practice, no source.
_TRACKING, _TRACKING_MIDPOINT = 0.2, 0.05
_DENSE_DIALS = np.arange(0.0, DIAL_MAX + 0.025, 0.05)
_MOST_DB_DOWN = 80.0


@dataclass(frozen=True, eq=False)
class Wanted:
    """The level wanted over the dial.

    Attributes
    ----------
    dial : ndarray, shape (d,)
        Falling, above 0.
    level_db : ndarray, shape (d,)
        Re dial 10.
    said : str
        In words.
    """

    dial: Array
    level_db: Array
    said: str


def wanted_through(points: Sequence[tuple[float, float]], said: str) -> Wanted:
    """Straight lines through (dial, level) points, at each whole and half number between them.

    Raises
    ------
    InputError
        If dials do not rise, or a level is above 0 or falls as the dial rises.
    """
    if len(points) < 2:
        raise InputError("at least two points of dial,level_db are needed")
    dials, levels = np.array(points, dtype=np.float64).T
    if np.any(np.diff(dials) <= 0) or dials[0] <= 0 or dials[-1] > DIAL_MAX:
        raise InputError("dials must rise from row to row, above 0 and up to 10")
    if np.any(np.diff(levels) < 0) or levels[-1] > 0 or levels[0] < -_MOST_DB_DOWN:
        raise InputError(
            f"levels must lie between {-_MOST_DB_DOWN:g} and 0 dB and not fall as the dial rises"
        )
    inside = np.arange(np.ceil(2 * dials[0]), np.floor(2 * min(dials[-1], 9.5)) + 1) / 2
    if inside.size == 0:
        inside = dials[dials < DIAL_MAX]
    return Wanted(inside[::-1], np.interp(inside, dials, levels)[::-1], said)


def half_as_loud_at(dial: float) -> Wanted:
    """Half as loud at a dial, and evenly down to there."""
    if not 0.5 <= dial <= 9.0:
        raise InputError(f"halfway at {dial:g} must lie between 0.5 and 9")
    return wanted_through(((dial, -HALF_AS_LOUD_DB), (DIAL_MAX, 0.0)), f"half as loud at {dial:g}")


def usable_between(least_db: float, most_db: float) -> Wanted:
    """Evenly from one level to another over all of the turn but half a number at each end."""
    if not 0 <= least_db < most_db <= _MOST_DB_DOWN:
        raise InputError(
            f"usable from {least_db:g} to {most_db:g} dB must rise, between 0 and {_MOST_DB_DOWN:g}"
        )
    said = f"evenly from {least_db:g} to {most_db:g} dB down over the turn"
    return wanted_through(((0.5, -most_db), (9.5, -least_db)), said)


@dataclass(frozen=True, eq=False)
class Turn:
    """What the turn of a knob is like.

    Attributes
    ----------
    dial, level_db : ndarray, shape (n,)
        The level of the take over the dial, re dial 10.
    usable_degrees : float
        Where it lies from 3 to 30 dB down.
    dead_at_ten_degrees : float
        From 10 down to where it has fallen by 1 dB.
    dead_at_zero_degrees : float
        From 0 up to where it is less than 60 dB down.
    """

    dial: Array
    level_db: Array
    usable_degrees: float
    dead_at_ten_degrees: float
    dead_at_zero_degrees: float


def turn_of(
    ear: Ear, network: Network | None, usable_db: tuple[float, float] = (3.0, 30.0)
) -> Turn:
    """Turn a knob from 0 to 10, and see what the level does.

    Parameters
    ----------
    ear : Ear
    network : Network or None
    usable_db : (float, float)
        How far down is usable.
    """
    dials = _DENSE_DIALS[1:]
    down_db = ear.ten_db - whole_level_db(ear.levels_db(ear.response(network, dials)))
    degrees = ROTATION_DEGREES / DIAL_MAX * (dials[1] - dials[0])
    least, most = usable_db
    return Turn(
        dials,
        -down_db,
        float(np.count_nonzero((down_db >= least) & (down_db <= most)) * degrees),
        float(_run(down_db[::-1] < _UNCHANGED_DB) * degrees),
        float(_run(down_db > _SILENT_DB) * degrees),
    )


def _run(holds: NDArray[np.bool_]) -> int:
    """For how many steps it holds from the start on."""
    return int(np.argmin(holds)) if not np.all(holds) else int(holds.size)


@dataclass(frozen=True, eq=False)
class Fitted:
    """A pot with a bypass, judged by the turn it gives.

    Attributes
    ----------
    network : Network or None
    ears : tuple of Ear
        Of the guitar with this pot, in each situation.
    miss_db : float
        Off the level that is wanted, root mean square over the dials; mean over
        the situations, by their weights, as are tone and score.
    tone_db : float
        Treble lost and gained against itself at 10, as of a `Merit`.
    score_db : float
    effort : Effort
        Another pot counts as a part.
    at_ten_db : float
        Largest change of the sound at 10 that the pot makes by itself, anywhere.
    """

    network: Network | None
    ears: tuple[Ear, ...]
    miss_db: float
    tone_db: float
    score_db: float
    effort: Effort
    at_ten_db: float

    @property
    def pot(self) -> Pot:
        """The volume pot."""
        return self.ears[0].rig.volume

    @property
    def may_come_first(self) -> bool:
        """Whether shops have it."""
        return not self.effort.special_order

    @cached_property
    def turns(self) -> tuple[Turn, ...]:
        """What its turn is like in each situation."""
        return tuple(turn_of(ear, self.network) for ear in self.ears)

    @cached_property
    def untracked_db(self) -> float | None:
        """How far the level may be off anywhere where a second gang does not track; None without.

        At the dials that count.
        """
        off = (untracked_db(ear, self.network, ear.conditions.dials) for ear in self.ears)
        return max((db for db in off if db is not None), default=None)


def pots_sold(now: Pot) -> tuple[Pot, ...]:
    """The pot there is, and those sold of usual values and laws."""
    laws = [Taper("linear"), *(Taper("audio", midpoint) for midpoint in MIDPOINTS_SOLD)]
    sold = [Pot(ohms, law) for ohms in (250e3, 500e3, 1e6) for law in laws]
    return (now, *(pot for pot in sold if pot != now))


def fit_travel(
    ears: Sequence[Ear],
    wanted: Wanted,
    pots: Sequence[Pot],
    shapes: tuple[Network, ...],
    shelf: Shelf,
    *,
    progress: Callable[[int], None] = lambda _: None,
) -> tuple[Fitted, ...]:
    """Search pots, laws, bypasses and gangs for the turn that is wanted.

    Parameters
    ----------
    ears : sequence of Ear
        The guitar as it is in each situation, and the conditions.
    wanted : Wanted
    pots : sequence of Pot
        The first one is fitted now.
    shapes : tuple of Network
        Topologies; the values in them do not matter.
    shelf : Shelf
        Resistors and capacitors; gangs are stock ones, like each pot.
    progress : callable
        Called with 1 after each pot.

    Returns
    -------
    tuple of Fitted
        Best first, of each pot the bare one and the best of all topologies.
    """
    now, found = ears[0].rig.volume, []
    for pot in pots:
        own = tuple(_turned(ear, pot, wanted) for ear in ears)
        moved = 0.0
        if pot != now:
            moved = max(
                float(change(its.levels_db(its.bare_at_ten), ear.at_ten).largest_db)
                for its, ear in zip(own, ears, strict=True)
            )
        drawer = replace(shelf, gangs=stock_gangs(pot))
        best = tailor(own, shapes, drawer)[0]
        for network in (None, best.network):
            found.append(_fitted(own, wanted, network, pot == now, moved))
        progress(1)
    return in_order(found)


def _turned(ear: Ear, pot: Pot, wanted: Wanted) -> Ear:
    """The same guitar with another pot, judged at the dials and by the levels wanted."""
    player = replace(ear.conditions.player, own_dials=tuple(wanted.dial.tolist()))
    conditions = replace(ear.conditions, player=player, wanted_db=wanted.level_db)
    return replace(ear, rig=ear.rig.with_volume(pot), conditions=conditions)


def _fitted(
    ears: tuple[Ear, ...], wanted: Wanted, network: Network | None, stays: bool, at_ten_db: float
) -> Fitted:
    miss_db, tone_db = [], []
    for ear in ears:
        levels_db = ear.levels_db(ear.response(network, wanted.dial))
        heard = beside_ideal(levels_db, ear.ideal(wanted.dial), ear.wanted_level_db)
        miss_db.append(float(heard.taper_phon))
        tone_db.append(float(heard.tone_db))
    needed = effort(network, ears[0].rig.volume)
    if not stays:
        needed = replace(needed, parts=needed.parts + 1)
    share = shares(ears)
    miss, tone = float(share @ miss_db), float(share @ tone_db)
    weighed = float(score(miss, tone, ears[0].conditions.tone_weight))
    return Fitted(network, ears, miss, tone, weighed, needed, at_ten_db)


def untracked_db(ear: Ear, network: Network | None, dial: Array) -> float | None:
    """How far the level may be off where a second gang does not track; None without a gang.

    The largest change at any of the dials, with each gang's value and its law
    at either end of their spread.
    """
    parts = () if network is None else leaves(network)
    if network is None or not any(isinstance(part, Gang) for part in parts):
        return None
    nominal = whole_level_db(ear.levels_db(ear.response(network, dial)))
    worst = 0.0
    for i, part in enumerate(parts):
        if not isinstance(part, Gang):
            continue
        for other in _off_track(part):
            strayed = with_parts(network, (*parts[:i], other, *parts[i + 1 :]))
            level = whole_level_db(ear.levels_db(ear.response(strayed, dial)))
            worst = max(worst, float(np.abs(level - nominal).max()))
    return worst


def _off_track(gang: Gang) -> tuple[Gang, ...]:
    off = [replace(gang, ohms=gang.ohms * factor) for factor in (1 - _TRACKING, 1 + _TRACKING)]
    if gang.taper.kind in BENT_TAPERS:
        for moved in (-_TRACKING_MIDPOINT, _TRACKING_MIDPOINT):
            midpoint = min(max(gang.taper.midpoint + moved, 0.01), 0.99)
            off.append(replace(gang, taper=replace(gang.taper, midpoint=midpoint)))
    return tuple(off)
