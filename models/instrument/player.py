"""What the player does with the knob."""

from dataclasses import dataclass
from typing import Literal, get_args

from presolder.models.errors import InputError
from presolder.models.instrument.controls import require_turned_up

Playing = Literal["full", "rolls-back", "swells", "cleans-up-dirt"]
PLAYING: tuple[Playing, ...] = get_args(Playing)
_MOST_DIALS = 20
# Where each way of playing leaves the knob; common practice, no source.
_DIALS_OF: dict[Playing, tuple[float, ...]] = {
    "full": (10.0,),
    "rolls-back": (8.0, 7.0, 6.0),
    "swells": (8.0, 6.0, 4.0, 2.0),
    "cleans-up-dirt": (7.0, 5.0, 3.0),
}
# How much the tone weighs, the rest going to the taper: who swells, or cleans up
# dirt, plays with the level itself; common practice, no source.
_TONE_WEIGHT_OF: dict[Playing, float] = {
    "full": 0.85,
    "rolls-back": 0.85,
    "swells": 0.6,
    "cleans-up-dirt": 0.6,
}


@dataclass(frozen=True)
class Player:
    """A way of playing.

    Attributes
    ----------
    plays : {"full", "rolls-back", "swells", "cleans-up-dirt"}
    own_dials : tuple of float or None
        Where the knob is left; None for where this way of playing usually does.
    """

    plays: Playing = "rolls-back"
    own_dials: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        if self.plays not in PLAYING:
            raise InputError(f"plays = {self.plays!r} must be one of {', '.join(PLAYING)}")
        if self.own_dials is not None:
            if not 1 <= len(self.own_dials) <= _MOST_DIALS:
                raise InputError(f"dials must be 1 to {_MOST_DIALS} positions")
            for dial in self.own_dials:
                require_turned_up("dials", dial)

    @property
    def dials(self) -> tuple[float, ...]:
        """Where the knob is left."""
        return self.own_dials or _DIALS_OF[self.plays]

    @property
    def tone_weight(self) -> float:
        """What the tone weighs by default, from 0 to 1."""
        return _TONE_WEIGHT_OF[self.plays]

    def __str__(self) -> str:
        return f"{self.plays}, knob at {', '.join(f'{dial:g}' for dial in self.dials)}"
