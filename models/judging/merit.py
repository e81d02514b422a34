"""Figures of merit: how far a design is from the guitar at 10, only turned down, as heard."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from presolder.models.circuit.assembly import Descriptor
from presolder.models.circuit.chain import PICKUP_SIDE
from presolder.models.circuit.coil import coil_impedance
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.ports import bridged_by, open_chain
from presolder.models.circuit.response import transfer
from presolder.models.decibels import power_decibels
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.hearing.change import EXACT_PHON, Change, Sound, change, sound
from presolder.models.instrument.controls import Pickup
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear, squared_size, whole_level_db
from presolder.models.typing import Array, ComplexArray, Flags

LOAD_HZ = 1000.0
# What keeps a volume knob from being one: too loud at 1, louder as it comes down, or with a peak.
Spoilt = Literal["left loud", "rises", "peaky"]
SPOILT: tuple[Spoilt, ...] = get_args(Spoilt)
# At dial 1 at most twice as loud as the bare pot there (10 phon, ISO 532-1), and two thirds of
# its range kept; a peak of at most 4 dB: common practice, no source.
MOST_LEFT_PHON, MOST_LEFT_OF_RANGE, MOST_PEAK_DB = 10.0, 1.0 / 3.0, 4.0
_RISES_PHON = 0.1
# Where the turn is looked at, from 10 down.
TURN = np.array([DIAL_MAX, 9.0, 7.0, 5.0, 3.0, 2.0, 1.0])
_PEAK_HZ = (LINES_HZ > 1000.0) & (LINES_HZ < 10_000.0)
_BODY_HZ = (LINES_HZ > 150.0) & (LINES_HZ < 500.0)

# Stands in for what is no single coil; its own values drop out.
_PROBE = Pickup(1e5, 1e-3)


@dataclass(frozen=True, eq=False)
class Merit:
    """Figures of one design on one rig; formulas in ``docs/figures.md``.

    The *ideal* is the guitar at 10 turned down by the pot's own division, or as wanted.

    Attributes
    ----------
    dial : ndarray, shape (d,)
        Positions that count.
    change : Change
        Against the ideal, at its loudness, at each of them.
    level_phon : ndarray, shape (d,)
        Loudness level against dial 10.
    taper_shift_phon : ndarray, shape (d,)
        Loudness level against the ideal at the same dial.
    acum : ndarray, shape (d,)
        Sharpness against the ideal.
    heard : ndarray, shape (d,)
        What each dial counts for: the ideal's loudness there; 1 together.
    tone_db : float
        Treble lost and gained, root mean square over the dials as they count.
    taper_phon : float
        Taper shift, the same mean.
    leftover_phon : float
        Loudness level at dial 1 against dial 10.
    louder_at_one_phon : float
        Against the bare pot there.
    peak_db : float
        By how much its response's peak above 1 kHz, over the body of the sound, stands
        higher than that of the guitar at 10 and of the bare pot, at worst from 9 to 2.
    spoilt : tuple of {"left loud", "rises", "peaky"}
        What keeps its knob from being a volume knob.
    load_ohms : float
        Smallest impedance that the coil feeds at 1 kHz, over those dials and 10.
    """

    dial: Array
    change: Change
    level_phon: Array
    taper_shift_phon: Array
    acum: Array
    heard: Array
    tone_db: float
    taper_phon: float
    leftover_phon: float
    louder_at_one_phon: float
    peak_db: float
    spoilt: tuple[Spoilt, ...]
    load_ohms: float

    def over_dials(self, values: Array) -> float:
        """Mean of values at each dial, as the dials count."""
        return float(values @ self.heard)


@dataclass(frozen=True, eq=False)
class Heard:
    """What is heard of n designs, beside the ideal: each figure as of a `Merit`, one a design."""

    change: Change
    phon: Array
    taper_shift_phon: Array
    acum: Array
    counts: Array
    tone_db: Array
    taper_phon: Array

    def into(self, figures: Merit, index: int, ten_phon: float) -> Merit:
        """The same figures with what is heard put in."""
        return replace(
            figures,
            change=self.change.of(index),
            level_phon=self.phon[index] - ten_phon,
            taper_shift_phon=self.taper_shift_phon[index],
            acum=self.acum[index],
            heard=self.counts,
            tone_db=float(self.tone_db[index]),
            taper_phon=float(self.taper_phon[index]),
        )


def beside_ideal(
    levels_db: Array,
    ideal: Sound,
    wanted_level_db: Array | None = None,
    within_phon: float = EXACT_PHON,
) -> Heard:
    """Compare sounds at each dial with the ideal.

    Parameters
    ----------
    levels_db : ndarray, shape (..., d, 28)
    ideal : Sound
        Of shape (d,), or as broadcasts.
    wanted_level_db : ndarray, shape (d,), optional
        Level of all third octaves that is wanted, dB SPL; then the taper is judged by it
        instead of by loudness, and all dials count alike.
    within_phon : float
        How near to equally loud sounds are brought before they are compared.

    Returns
    -------
    Heard
        Of shape (...) and (..., d).

    Notes
    -----
    Dials count by the loudness in sone of the ideal there (ISO 532-1: a ratio scale of how
    loud a sound is): of sounds that change, the loud ones decide what is thought of the
    whole (Zwicker and Fastl, Psychoacoustics, section 16.1, from memory).
    """
    found, moved = sound(levels_db), change(levels_db, ideal, within_phon)
    counts = counts_of(ideal.specific)
    shift = np.asarray(found.phon - ideal.phon)
    taper_phon = root_mean_square(shift, counts)
    if wanted_level_db is not None:
        taper_phon = root_mean_square(whole_level_db(levels_db) - wanted_level_db)
    return Heard(
        moved, found.phon, shift, found.acum - ideal.acum, counts,
        root_mean_square(moved.tone_db, counts), taper_phon,
    )  # fmt: skip


def counts_of(specific: Array) -> Array:
    """What sounds of these specific loudnesses, shape (..., d, 240), count for; 1 together."""
    sone = specific.sum(axis=-1)
    return np.asarray(sone / np.maximum(sone.sum(axis=-1, keepdims=True), 1e-12))


@dataclass(frozen=True, eq=False)
class OverDial:
    """What is heard of a design, dial by dial.

    Attributes
    ----------
    dial : ndarray, shape (d,)
    change : Change
        Against the ideal, at its loudness.
    phon : ndarray, shape (d,)
        Loudness level.
    """

    dial: Array
    change: Change
    phon: Array


def over_the_dial(ear: Ear, network: Network | None, dial: Array) -> OverDial:
    """Listen to a design at some dials above 0.

    Parameters
    ----------
    ear : Ear
    network : Network or None
    dial : ndarray, shape (d,)
    """
    responses = ear.response(network, dial)
    return OverDial(dial, ear.against_ideal(responses, dial), ear.listen(responses).phon)


def merit(ear: Ear, network: Network | None, dial: Array | None = None) -> Merit:
    """Compute every figure of a design.

    Parameters
    ----------
    ear : Ear
        The rig and the conditions.
    network : Network or None
        The bypass; None is the bare pot.
    dial : ndarray, shape (d,), optional
        Positions above 0; by default those where the player leaves the knob.

    Returns
    -------
    Merit
    """
    return merits(ear, (network,), dial)[0]


def merits(
    ear: Ear, networks: Sequence[Network | None], dial: Array | None = None
) -> tuple[Merit, ...]:
    """Compute the figures of several designs at once; parameters as for `merit`.

    They are of what reaches the input that the guitar feeds.
    """
    dials, ten = ear.conditions.dials if dial is None else dial, ear.at_ten
    rig = ear.rig.as_heard
    chain = open_chain(rig, LINES_HZ, np.concatenate([dials, TURN]))
    responses = np.stack([bridged_by(chain, network) for network in (None, *networks)])
    heard = beside_ideal(ear.levels_db(responses[:, : dials.size]), ear.ideal(dials))
    turned = turn_figures(ear, responses[:, dials.size :])
    stand = np.concatenate([[DIAL_MAX], dials])
    found = []
    for i, network in enumerate(networks, start=1):
        alone = rig.first.pickup
        if len(rig.channels) == 1 and isinstance(alone, Pickup):
            fed = _fed(chain_equations(rig, network), alone, LOAD_HZ, stand)
        else:
            fed = pickup_load(rig, network, LOAD_HZ, stand)
        figures = Merit(
            dials, heard.change.of(i), heard.phon[i] - ten.phon, heard.taper_shift_phon[i],
            heard.acum[i], heard.counts, float(heard.tone_db[i]), float(heard.taper_phon[i]),
            float(turned.left_phon[i]), float(turned.left_phon[i] - turned.left_phon[0]),
            float(turned.peak_db[i]), turned.of(i), float(np.abs(fed).min()),
        )  # fmt: skip
        found.append(figures)
    return tuple(found)


@dataclass(frozen=True, eq=False)
class Turned:
    """How the turn goes with n designs, the first of them the bare pot.

    Attributes
    ----------
    left_phon, peak_db : ndarray, shape (n,)
        As of a `Merit`.
    spoilt : ndarray of bool, shape (n, 3)
        In the order of `SPOILT`.
    """

    left_phon: Array
    peak_db: Array
    spoilt: Flags

    def of(self, index: int) -> tuple[Spoilt, ...]:
        """What is spoilt by one design."""
        return tuple(what for what, is_so in zip(SPOILT, self.spoilt[index], strict=True) if is_so)


def most_left_phon(ear: Ear) -> float:
    """How much louder than the bare pot a design may be at dial 1."""
    at_one = ear.listen(ear.response(None, np.ones(1))).phon[0]
    return _most_left(float(at_one - ear.at_ten.phon))


def _most_left(bare_phon: float) -> float:
    return min(MOST_LEFT_PHON, max(0.0, -MOST_LEFT_OF_RANGE * bare_phon))


def turn_figures(ear: Ear, responses: ComplexArray) -> Turned:
    """See whether a volume knob remains one.

    Parameters
    ----------
    ear : Ear
    responses : ndarray of complex, shape (n, 7, 112)
        At `TURN`, of the bare pot and then of designs.
    """
    phon = ear.listen(responses).phon
    left = phon[:, -1] - phon[0, 0]
    response_db = power_decibels(np.maximum(squared_size(responses), 1e-30))
    peak_db = response_db[..., _PEAK_HZ].max(axis=-1) - response_db[..., _BODY_HZ].mean(axis=-1)
    inside = peak_db[:, 1:-1]
    over_db = (inside - np.maximum(inside[0], peak_db[0, 0])).max(axis=-1)
    rises = np.diff(phon, axis=-1) > _RISES_PHON
    most = _most_left(float(left[0]))
    spoilt = np.array(
        [left - left[0] > most, (rises & ~rises[0]).any(axis=-1), over_db > MOST_PEAK_DB]
    ).T
    if ear.conditions.wanted_db is not None:
        # Another turn is wanted than the pot's own, and is judged by itself.
        spoilt[:] = False
    return Turned(left, over_db, spoilt)


def root_mean_square(values: Array, counts: Array | None = None) -> Array:
    """Over the last axis, each value counting as told; 1 together, by default all alike."""
    share = 1.0 / values.shape[-1] if counts is None else counts
    return np.asarray(np.sqrt((share * np.square(values)).sum(axis=-1)), dtype=np.float64)


def pickup_load(
    rig: Rig, network: Network | None, frequency_hz: float, dial: Array
) -> ComplexArray:
    """Impedance that the first channel's coil feeds, its own capacitance included.

    Of several coils, or a piezo: what they feed together, without their own.

    Parameters
    ----------
    rig : Rig
        The instrument and what it feeds.
    network : Network or None
        The bypass.
    frequency_hz : float
        Frequency.
    dial : ndarray, shape (d,)
        Positions.

    Returns
    -------
    ndarray of complex, shape (d,)
        Ohms.

    Notes
    -----
    From the divider V / EMF = Z / (Z + Z_coil), V at the pickup's side of the
    volume pot, other pickups being there but silent.
    """
    silent = (replace(channel, strength=0.0) for channel in rig.channels[1:])
    coil = rig.first.pickup if isinstance(rig.first.pickup, Pickup) else _PROBE
    rig = replace(rig, channels=(replace(rig.first, pickup=coil), *silent))
    return _fed(chain_equations(rig, network), coil, frequency_hz, dial)


def _fed(equations: Descriptor, pickup: Pickup, frequency_hz: float, dial: Array) -> ComplexArray:
    ratio = transfer(equations.at(PICKUP_SIDE), frequency_hz, dial)[:, 0]
    impedance = coil_impedance(pickup, frequency_hz) * ratio / (1.0 - ratio)
    return np.asarray(impedance, dtype=np.complex128)
