"""What a listener hears of a rig at each dial, beside the same guitar at 10."""

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
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Gang, Network
from presolder.models.instrument.player import Player
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array, ComplexArray

# A home listener's level: loud conversation; common practice, no source.
LISTENING_LEVEL_DB = 75.0
QUIETEST_LEVEL_DB, LOUDEST_LEVEL_DB = 40.0, 100.0


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
        None to keep the bare pot's taper, by loudness.
    """

    material: Material
    player: Player
    tone_weight: float
    listening_level_db: float = LISTENING_LEVEL_DB
    speaker_power: Array | None = None
    gangs_at_hand: tuple[Gang, ...] = ()
    wanted_db: Array | None = None

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

    @cached_property
    def line_power(self) -> Array:
        """Sound power per line for a response of 1, shape (112,), re (20 uPa)^2.

        The take's spectrum, the chain that it was recorded through taken away,
        scaled so that the bare pot at 10 has the listening level.
        """
        material = self.conditions.material
        line_power = material.line_power
        take = take_equations(self.rig)
        if take is not None:
            stood = transfer(take, LINES_HZ, self.rig.take.dial)[0]
            line_power = line_power / squared_size(bounded(stood, self.bare_at_ten))
        if self.conditions.speaker_power is not None:
            line_power = line_power * self.conditions.speaker_power
        at_ten = line_power @ squared_size(self.bare_at_ten)
        level = power(self.conditions.listening_level_db - material.crest_db)
        return np.asarray(line_power * (level / at_ten), dtype=np.float64)

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

    def against_ten(self, response: ComplexArray) -> Change:
        """How it differs from the guitar at 10, equally loud; responses of shape (..., 112)."""
        return change(self.levels_db(response), self.at_ten)


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
