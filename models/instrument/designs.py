"""The built-in designs, named by topology.

The values are E12 parts computed for the default rig (a humbucker into a 500k
audio pot): of all combinations over three decades, the ones with the smallest
root-sum-square of treble error (2-4 kHz against 500 Hz, RMS over dials 2-8,
relative to dial 10) and half the taper shift (level at 500 Hz against bare,
RMS over the same dials). Gangs were limited to 100k, 250k, 500k and 1M parts,
and in the parallel case to an audio taper, which is the one made.
"""

from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Design

BUILT_IN: tuple[Design, ...] = (
    Design("bare", None, "nothing between input lug and wiper"),
    Design(
        "cap",
        parse_expression("150p"),
        "a capacitor alone: leaves the taper as it is, brightest when turned down",
    ),
    Design(
        "parallel",
        parse_expression("820k || 220p"),
        "resistor beside the capacitor: tames the capacitor, lifts the taper by 3 dB",
    ),
    Design(
        "series",
        parse_expression("270k + 390p"),
        "resistor before the capacitor: limits the treble it passes, lifts the taper least",
    ),
    Design(
        "series-parallel",
        parse_expression("120k + (820k || 330p)"),
        "a resistor ahead of the parallel pair: limits treble and fills the taper",
    ),
    Design(
        "cap-and-series",
        parse_expression("56p || (330k + 390p)"),
        "a small capacitor for the very top beside a limited path for the mids",
    ),
    Design(
        "gang-series",
        parse_expression("gang(500k, linear, zero) + 390p"),
        "a second gang raises the series resistance as the knob comes down",
    ),
    Design(
        "gang-parallel",
        parse_expression("gang(1M, audio, zero) || 220p"),
        "a second gang takes the taper-lifting resistor away as the knob comes down",
    ),
)


def built_in(name: str) -> Design | None:
    """The built-in design of that name, or None."""
    return next((design for design in BUILT_IN if design.name == name), None)
