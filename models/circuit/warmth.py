"""What warmth does to junctions: their saturation currents and their slopes.

As SPICE2 has it (Nagel, ERL-M520, 1975, section 4; formulas from memory, checked
against a simulator): with r the absolute temperature over that of 27 degrees C, I_s
goes as r^XTI exp((r - 1) EG / V_T), and a junction's slope as r.
"""

from collections.abc import Callable
from typing import Literal

import numpy as np

from presolder.models.circuit.branch import Device, Diode, Transistor
from presolder.models.instrument.pedal import NOMINAL_CELSIUS

_KELVIN = 273.15
_VOLTS_A_KELVIN = 1.380649e-23 / 1.602176634e-19
# kT/q at 27 degrees C: k and q as the SI defines them.
THERMAL_VOLTS = _VOLTS_A_KELVIN * (_KELVIN + NOMINAL_CELSIUS)
Says = Callable[[str], float]


def _ratio(celsius: float) -> float:
    """Of absolute temperatures, to that at which models are said."""
    return (_KELVIN + celsius) / (_KELVIN + NOMINAL_CELSIUS)


def _rise(says: Says, celsius: float) -> float:
    """Logarithm of what a saturation current of emission 1 has grown by."""
    ratio = _ratio(celsius)
    gap = (ratio - 1.0) * says("EG") / (_VOLTS_A_KELVIN * (_KELVIN + celsius))
    return float(gap + says("XTI") * np.log(ratio))


def warm_diode(plus: int, minus: int, says: Says, celsius: float) -> Diode:
    """A diode of a model at some temperature."""
    saturation = says("IS") * np.exp(_rise(says, celsius) / says("N"))
    return Diode(plus, minus, float(saturation), says("N") * _ratio(celsius))


def warm_transistor(
    ends: tuple[int, int, int], polarity: Literal[1, -1], says: Says, celsius: float
) -> tuple[Device, ...]:
    """A transistor of a model at some temperature: collector, base, emitter; and what leaks in it.

    Its leakage is that of diodes beside its junctions, ISE and ISC (Gummel and Poon, Bell Syst.
    Tech. J. 49, 1970; from memory).
    """
    collector, base, emitter = ends
    ratio, rise = _ratio(celsius), _rise(says, celsius)
    gain = ratio ** says("XTB")
    saturation = float(says("IS") * np.exp(rise))
    inner = Transistor(
        *ends,
        saturation,
        says("BF") * gain,
        says("BR") * gain,
        polarity,
        emission=ratio,
        early_volts=says("VAF"),
    )
    leaks = (("ISE", "NE", emitter), ("ISC", "NC", collector))
    diodes = [
        Diode(
            *((base, end) if polarity > 0 else (end, base)),
            float(says(current) / gain * np.exp(rise / says(slope))),
            says(slope) * ratio,
        )
        for current, slope, end in leaks
        if says(current) > 0
    ]
    return inner, *diodes
