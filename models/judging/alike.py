"""A hundred guitars like this one, and whether a design is better in most of them.

Parts stray, no two pickups are wound alike, and players play more than one take. A
design that comes first on the nominal guitar by a hair is no advice.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from presolder.models.circuit.ports import bridged_with, open_chain
from presolder.models.cores import side_by_side
from presolder.models.hearing.bands import LINES_HZ, third_octave_db
from presolder.models.hearing.change import sound
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Network, leaves
from presolder.models.judging.ear import Ear, division_db, squared_size
from presolder.models.judging.merit import beside_ideal
from presolder.models.judging.tolerance import Spread, drawn, strayed_network, straying_parts
from presolder.models.typing import Array

GUITARS = 100
# Of the usual spread of parts, and of inductance from pickup to pickup; common practice, no source.
LIKE_THIS = Spread(pickup=0.10)
_TOGETHER = 10
# Good for a score to a hundredth of a decibel.
_WITHIN_PHON = 0.02


@dataclass(frozen=True, eq=False)
class Alike:
    """How designs do on guitars like this one, each array of shape (n, `GUITARS`).

    Attributes
    ----------
    taper_phon, tone_db : ndarray
        As of a `Merit`.
    """

    taper_phon: Array
    tone_db: Array


def others_like(ear: Ear, networks: Sequence[Network | None]) -> Alike:
    """Judge designs on guitars like this one, the same ones for all designs.

    Parameters
    ----------
    ear : Ear
        Its conditions' takes are played on them in turn.
    networks : sequence of Network or None

    Notes
    -----
    Each part is drawn evenly from its value plus or minus its spread, see `Spread`.
    """
    rig = ear.rig.as_heard
    parts = straying_parts(rig, None, LIKE_THIS)
    random = np.random.default_rng(1)
    rigs = random.uniform(-1.0, 1.0, (GUITARS, len(parts))) * [part.spread for part in parts]
    most = max((len(leaves(network)) for network in networks), default=0)
    places = sum(one.auditioned for one in rig.volumes)
    # A stream for each part in turn, so that a design's are the same whatever stands beside it.
    bypasses = np.stack(
        [
            np.random.default_rng((1, part)).uniform(-1.0, 1.0, (GUITARS, places))
            for part in range(max(most, 1))
        ],
        axis=-1,
    )
    takes = ear.conditions.others or (ear.conditions.material,)

    def some(first: int) -> tuple[Array, Array]:
        """Levels and the ideal's, shapes (g, n, d, 28) and (g, 1, d, 28)."""
        levels, ideals = [], []
        for at in range(first, min(first + _TOGETHER, GUITARS)):
            other, _ = drawn(rig, None, rigs[at], LIKE_THIS)
            stand = np.concatenate([[DIAL_MAX], ear.conditions.dials])
            chain = open_chain(other, LINES_HZ, stand)
            fitted = [
                [
                    None if network is None else _strayed(network, offsets)
                    for offsets in bypasses[at]
                ]
                for network in networks
            ]
            responses = np.stack([bridged_with(chain, own)[1:] for own in fitted])
            power = ear.sound_power(takes[at % len(takes)], chain.bare[0])
            levels.append(third_octave_db(power * squared_size(responses)))
            ten_db = third_octave_db(power * squared_size(chain.bare[:1]))
            down_db = ear.conditions.wanted_db
            if down_db is None:
                down_db = division_db(chain.bare[0], chain.bare[1:])
            ideals.append(ten_db + down_db[:, np.newaxis])
        return np.stack(levels), np.stack(ideals)[:, np.newaxis]

    def judged(first: int) -> tuple[Array, Array]:
        levels, ideals = some(first)
        heard = beside_ideal(levels, sound(ideals), within_phon=_WITHIN_PHON)
        return heard.taper_phon, heard.tone_db

    pairs = list(side_by_side(judged, range(0, GUITARS, _TOGETHER)))
    taper, tone = (np.concatenate([pair[k] for pair in pairs]).T for k in (0, 1))
    return Alike(taper, tone)


def _strayed(network: Network, offsets: Array) -> Network:
    """The design with each part off by its offset, in spreads of its kind."""
    spreads = [LIKE_THIS.of(leaf) for leaf in leaves(network)]
    own = strayed_network(network, iter((offsets[: len(spreads)] * spreads).tolist()))
    assert own is not None
    return own
