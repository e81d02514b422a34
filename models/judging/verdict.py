"""Whether a bypass helps this player here: what the bare pot does, and what is nearer."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.judged import takes_apart
from presolder.models.judging.merit import Merit, merit
from presolder.models.judging.ranking import EQUAL_DB, Scored, in_order
from presolder.models.judging.recommendation import usual_ones
from presolder.models.judging.remedies import Remedy, remedies
from presolder.models.typing import Array

Needed = Literal["no", "hardly", "probably", "yes"]
# Nearer on so many of a hundred guitars like this one is beyond doubt; common practice, no source.
YES_OF_HUNDRED = 90
_BODY_HZ = 500.0
_RESONANCE_HZ = np.geomspace(800.0, 20_000.0, 1200)


@dataclass(frozen=True, eq=False)
class Need:
    """What the bare pot does in one situation, whether a bypass helps, and what else does.

    Attributes
    ----------
    verdict : {"no", "hardly", "probably", "yes"}
        No: nothing is to be heard. Hardly: something is, and no bypass is audibly nearer.
        Else one is; yes, where it is on 90 of 100 guitars like this one.
    shown : Merit
        Figures of the bare pot at the dials to report, of what reaches the input.
    resonance_hz, resonance_db : ndarray, shape (d,)
        Frequency of the response's highest point above 800 Hz at those dials,
        and its height over 500 Hz; NaN where the response only falls.
    ranked : tuple of Scored
        The bare pot and designs, best first, in this situation alone.
    remedies : tuple of Remedy
        What needs no bypass, the nearest first; none where nothing is to be heard.
    otherwise_by : tuple of str
        Takes by which the dirt would have it otherwise.
    """

    verdict: Needed
    shown: Merit
    resonance_hz: Array
    resonance_db: Array
    ranked: tuple[Scored, ...]
    remedies: tuple[Remedy, ...]
    otherwise_by: tuple[str, ...]

    @property
    def first(self) -> Scored:
        """What comes first: the bare pot, or a design that is audibly nearer."""
        return self.ranked[0]

    @property
    def bare(self) -> Scored:
        """The bare pot."""
        return next(one for one in self.ranked if one.design.network is None)

    @property
    def as_good(self) -> tuple[Scored, ...]:
        """What else comes before the bare pot and is not audibly behind the first."""
        ahead = self.ranked[1 : self.ranked.index(self.bare)] if self.first is not self.bare else ()
        best_db = min(one.score_db for one in (self.first, *ahead))
        return tuple(one for one in ahead if one.score_db < best_db + EQUAL_DB)

    @property
    def brightest_help(self) -> Scored | None:
        """What keeps the tone best of all that do so audibly better than the bare pot; or none."""
        fitted = [one for one in self.ranked if one.design.network is not None]
        best = min(fitted, key=lambda one: one.tone_db, default=None)
        return best if best is not None and self.bare.tone_db - best.tone_db >= EQUAL_DB else None


def need(ear: Ear, dial: Array, judged: Iterable[Scored]) -> Need:
    """Judge whether a bypass helps in one situation.

    Parameters
    ----------
    ear : Ear
        The rig, judged without a bypass, and the conditions.
    dial : ndarray, shape (d,)
        Positions above 0 to report.
    judged : iterable of Scored
        The bare pot and the designs that might help, in this situation.

    Returns
    -------
    Need
    """
    order = in_order(judged)
    first, figures = order[0], next(one.figures[0] for one in order if one.design.network is None)
    verdict: Needed = "hardly"
    if not figures.change.noticed.any() and first.design.network is None:
        verdict = "no"
    elif first.nearer is not None:
        verdict = "yes" if first.nearer >= YES_OF_HUNDRED else "probably"
    return Need(
        verdict,
        merit(ear, None, dial),
        *resonance(ear.rig.as_heard, dial),
        order,
        remedies(ear) if verdict != "no" else (),
        takes_apart(ear, order),
    )


def needs(
    ears: Sequence[Ear], judged: Sequence[Scored], dial: Array | None = None
) -> tuple[Need, ...]:
    """The same in each situation by itself; by default at the dials that count.

    Where that has the bare pot first, the search is asked for this situation.
    """
    found = []
    for at, ear in enumerate(ears):
        shown = ear.conditions.dials if dial is None else dial
        alone: Sequence[Scored] = [one.alone(at) for one in judged]
        if len(ears) > 1 and in_order(alone)[0].design.network is None:
            alone = usual_ones((ear,))
        found.append(need(ear, shown, alone))
    return tuple(found)


def resonance(rig: Rig, dial: Array) -> tuple[Array, Array]:
    """Where the bare pot's response is highest above 800 Hz, and by how much over 500 Hz.

    Parameters
    ----------
    rig : Rig
    dial : ndarray, shape (d,)
        Positions above 0.

    Returns
    -------
    resonance_hz, resonance_db : ndarray, shape (d,)
        NaN where the response only falls.
    """
    bare = chain_equations(rig, None)
    response_db = decibels(transfer(bare, _RESONANCE_HZ, dial))
    body_db = decibels(transfer(bare, _BODY_HZ, dial))
    highest = np.argmax(response_db, axis=1)
    resonant = (highest > 0) & (highest < _RESONANCE_HZ.size - 1)
    resonance_hz = np.where(resonant, _RESONANCE_HZ[highest], np.nan)
    height_db = response_db[np.arange(dial.size), highest] - body_db[:, 0]
    return resonance_hz, np.where(resonant, height_db, np.nan)
