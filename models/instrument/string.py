"""The one string that a take may be of, and where pickups sit along it."""

from dataclasses import dataclass

from presolder.models.instrument.quantities import require_within

LOWEST_HZ, HIGHEST_HZ = 20.0, 1500.0
SHORTEST_METRES, LONGEST_METRES = 0.3, 1.2


@dataclass(frozen=True)
class String:
    """A string that a whole take is played on, fretted or not.

    Attributes
    ----------
    open_hz : float
        Its pitch when it is not fretted.
    scale_metres : float
        Its length then, from nut to bridge.

    Raises
    ------
    InputError
        If one is out of range.
    """

    open_hz: float
    scale_metres: float

    def __post_init__(self) -> None:
        require_within([("open_string", self.open_hz, LOWEST_HZ, HIGHEST_HZ)], "Hz")
        require_within([("scale", self.scale_metres, SHORTEST_METRES, LONGEST_METRES)], "m")

    def wave_seconds(self, metres: float) -> float:
        """How long a wave takes from a place to the bridge.

        Notes
        -----
        The speed of transverse waves is twice the length times the pitch of the
        open string (Fletcher and Rossing, The Physics of Musical Instruments,
        chapter 2); a fret shortens the string and leaves the speed.
        """
        return metres / (2.0 * self.scale_metres * self.open_hz)
