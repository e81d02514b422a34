"""The descriptions that the functions take and give, under one roof."""

from presolder.models.audio.knob import KnobPath
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, Pot, Tone
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import Design
from presolder.models.instrument.player import Player
from presolder.models.instrument.rig import Capture, Channel, Rig
from presolder.models.instrument.stage import Stage
from presolder.models.instrument.stock import Stock
from presolder.models.judging.tolerance import Spread
from presolder.models.measuring.coil import Impedance, Response
from presolder.models.measuring.jack import Hung, Resonance
from presolder.render.files.take import Take

__all__ = [
    "Capture",
    "Channel",
    "Design",
    "Dirt",
    "Hung",
    "Impedance",
    "InputError",
    "KnobPath",
    "Load",
    "Pickup",
    "Player",
    "Pot",
    "Resonance",
    "Response",
    "Rig",
    "Situation",
    "Spread",
    "Stage",
    "Stock",
    "Take",
    "Taper",
    "Tone",
]
