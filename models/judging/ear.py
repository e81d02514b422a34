"""What a listener hears of a rig at each dial, beside the same guitar at 10 turned down ideally."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from presolder.models.audio.emf import bounded
from presolder.models.circuit.equations import chain_equations, take_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import power, power_decibels
from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINES_HZ, third_octave_db
from presolder.models.hearing.change import Change, Sound, change, sound
from presolder.models.hearing.material import Material
from presolder.models.instrument.dirt import AnyDirt, Dirt
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Gang, Network
from presolder.models.instrument.player import Player
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array, ComplexArray

# A home listener's level: loud conversation; common practice, no source.
LISTENING_LEVEL_DB = 75.0
QUIETEST_LEVEL_DB, LOUDEST_LEVEL_DB = 40.0, 100.0
# Where a guitar's lowest notes are, and neither cable nor bypass does anything.
_LOW = (LINES_HZ > 60.0) & (LINES_HZ < 160.0)
_MOST_DOWN_DB = 120.0


@dataclass(frozen=True, eq=False)
class Conditions:
    """Under which conditions designs are judged; every verdict states them.

    Attributes
    ----------
    material : Material
        The take that is heard.
    player : Player
        What is done with the knob: where it is left, and what matters.
    tone_weight : float
        0 to keep the taper only, 1 to keep the tone only.
    listening_level_db : float
        Sound pressure level of the take's loudest second at dial 10, dB re 20 uPa.
    speaker_power : ndarray, shape (112,), or None
        What a loudspeaker passes of the power at each of `LINES_HZ`.
    gangs_at_hand : tuple of Gang
        Second gangs of dual pots that one has, and need not order specially.
    wanted_db : ndarray, shape (d,), or None
        Level at each of the player's dials, re dial 10, that is wanted there;
        None for the bare pot's own division.
    others : tuple of Material
        Further takes that are played on guitars like this one; none where the
        player's own is heard.
    """

    material: Material
    player: Player
    tone_weight: float
    listening_level_db: float = LISTENING_LEVEL_DB
    speaker_power: Array | None = None
    gangs_at_hand: tuple[Gang, ...] = ()
    wanted_db: Array | None = None
    others: tuple[Material, ...] = ()

    def __post_init__(self) -> None:
        if not 0.0 <= self.tone_weight <= 1.0:
            raise InputError(f"tone_weight = {self.tone_weight:g} must lie between 0 and 1")
        if not QUIETEST_LEVEL_DB <= self.listening_level_db <= LOUDEST_LEVEL_DB:
            raise InputError(
                f"listening_level = {self.listening_level_db:g} must lie between"
                f" {QUIETEST_LEVEL_DB:g} and {LOUDEST_LEVEL_DB:g} dB"
            )

    @property
    def dials(self) -> Array:
        """Positions that count."""
        return np.array(self.player.dials)

    def __str__(self) -> str:
        speaker = "" if self.speaker_power is None else ", through a loudspeaker"
        return (
            f"{self.player}; {self.material.name}, its loudest second at"
            f" {self.listening_level_db:g} dB SPL{speaker}"
        )


@dataclass(frozen=True, eq=False)
class Ear:
    """A rig under conditions, ready to be listened to with any bypass.

    Attributes
    ----------
    rig : Rig
        With dirt, it feeds the dirt's input.
    conditions : Conditions
    situation : str
        Of the guitar, where it is used in several; empty for the only one.
    weight : float
        How much that counts beside the others.
    """

    rig: Rig
    conditions: Conditions
    situation: str = ""
    weight: float = 1.0

    @property
    def name(self) -> str:
        """Of the situation, or of a guitar that has only one."""
        return self.situation or self.rig.name

    @property
    def dirt(self) -> AnyDirt | None:
        """What it is heard through: the rig's own; for who cleans up dirt without, a smooth curve.

        That one leaves the rig's input as it is.
        """
        if self.rig.dirt is None and self.conditions.player.plays == "cleans-up-dirt":
            return Dirt("smooth", input=self.rig.load)
        return self.rig.dirt

    @cached_property
    def line_power(self) -> Array:
        """Sound power per line for a response of 1, shape (112,), re (20 uPa)^2."""
        return self.sound_power(self.conditions.material, self.bare_at_ten)

    def sound_power(self, material: Material, bare_at_ten: ComplexArray) -> Array:
        """Sound power per line of a take for a response of 1, shape (112,), re (20 uPa)^2.

        The take's spectrum, the chain that it was recorded through taken away,
        scaled so that the bare pot at 10 has the listening level.

        Parameters
        ----------
        material : Material
        bare_at_ten : ndarray of complex, shape (112,)
            Of this guitar, or of one like it.
        """
        line_power, stood = material.line_power, self._stood
        if stood is not None and not material.of_string:
            line_power = line_power / squared_size(bounded(stood, bare_at_ten))
        if self.conditions.speaker_power is not None:
            line_power = line_power * self.conditions.speaker_power
        at_ten = line_power @ squared_size(bare_at_ten)
        level = power(self.conditions.listening_level_db - material.crest_db)
        return np.asarray(line_power * (level / at_ten), dtype=np.float64)

    @cached_property
    def _stood(self) -> ComplexArray | None:
        """The chain that takes were recorded through, shape (112,)."""
        take = take_equations(self.rig)
        if take is None:
            return None
        return np.asarray(transfer(take, LINES_HZ, self.rig.take.dial)[0])

    @cached_property
    def at_ten(self) -> Sound:
        """The guitar with its knob at 10, and no bypass."""
        return self.listen(self.bare_at_ten)

    @cached_property
    def ten_db(self) -> float:
        """Level of the guitar with its knob at 10, dB SPL."""
        return float(whole_level_db(self.levels_db(self.bare_at_ten)))

    @cached_property
    def bare_at_ten(self) -> ComplexArray:
        """Response of the bare pot at 10, shape (112,)."""
        return np.asarray(self.response(None, np.array([DIAL_MAX]))[0])

    def response(self, network: Network | None, dial: Array) -> ComplexArray:
        """Of the chain into what the guitar will really feed, shape (d, 112)."""
        return transfer(chain_equations(self.rig.as_heard, network), LINES_HZ, dial)

    def levels_db(self, response: ComplexArray) -> Array:
        """Third-octave levels at the ear, shape (..., 28), for responses of shape (..., 112)."""
        return third_octave_db(self.line_power * squared_size(response))

    def listen(self, response: ComplexArray) -> Sound:
        """What ears make of it, for responses of shape (..., 112)."""
        return sound(self.levels_db(response))

    def turned_down_db(self, dial: Array) -> Array:
        """Level that the knob is meant to have at each dial, re 10, shape (d,).

        The wanted one, where that is given for the player's dials; else what the
        bare pot itself leaves, see `division_db`.
        """
        wanted_db = self.conditions.wanted_db
        if wanted_db is not None and np.array_equal(dial, self.conditions.dials):
            return wanted_db
        return division_db(self.bare_at_ten, self.response(None, dial))

    @property
    def wanted_level_db(self) -> Array | None:
        """Level of all third octaves that is wanted at the player's dials, dB SPL."""
        wanted_db = self.conditions.wanted_db
        return None if wanted_db is None else self.ten_db + wanted_db

    def ideal(self, dial: Array) -> Sound:
        """The guitar at 10, only turned down as the knob is meant to; of d sounds."""
        down_db = self.turned_down_db(dial)
        return sound(self.at_ten.third_octave_db + down_db[:, np.newaxis])

    def against_ideal(self, response: ComplexArray, dial: Array) -> Change:
        """How it differs from the ideal, at its loudness; responses of shape (..., d, 112)."""
        return change(self.levels_db(response), self.ideal(dial))


def division_db(at_ten: ComplexArray, turned: ComplexArray) -> Array:
    """What a pot leaves where neither cable nor bypass acts: below 160 Hz.

    Parameters
    ----------
    at_ten : ndarray of complex, shape (..., 112)
    turned : ndarray of complex, shape (..., d, 112)

    Returns
    -------
    ndarray, shape (..., d)
        dB re dial 10.
    """
    left = squared_size(turned[..., _LOW]).mean(axis=-1)
    ten = squared_size(at_ten[..., _LOW]).mean(axis=-1)[..., np.newaxis]
    return np.asarray(power_decibels(np.maximum(left / ten, power(-_MOST_DOWN_DB))))


def shares(ears: Sequence[Ear]) -> Array:
    """What each situation counts for, shape (s,); 1 together."""
    weights = np.array([ear.weight for ear in ears])
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def whole_level_db(levels_db: Array) -> Array:
    """Level of all third octaves together, shape (...), for levels of shape (..., 28)."""
    return np.asarray(power_decibels(power(levels_db).sum(axis=-1)))


def squared_size(response: ComplexArray) -> Array:
    """Power of a response; much faster than the square of abs(), which takes a root."""
    return np.square(response.real) + np.square(response.imag)
