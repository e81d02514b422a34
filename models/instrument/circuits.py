"""The circuits that come with it, as netlists: parts of our own choosing, after the usual ideas.

Their topologies are common practice, no source; the values were chosen for ordinary
working points and belong to no product. Transistors and diodes are typical of small
ones, from memory; what lies across a base holds what a builder adds against radio,
and with germanium the slowness of its time. A knob's track that is turned to its end
still has an ohm, and a milliohm stands for none.
"""

from functools import lru_cache
from string import Template
from typing import Literal, get_args

from presolder.models.instrument.pedal import Pedal, read_pedal

StageKind = Literal["germanium-fuzz", "silicon-fuzz", "treble-booster", "diode-clipper"]
STAGE_KINDS: tuple[StageKind, ...] = get_args(StageKind)

_BATTERY = """
Vcell cell 0 {supply}
Rcell cell rail {battery}
Crail rail 0 22u
"""
_TWO_TRANSISTORS = Template(
    """
.param fuzz=10 bias=5 supply=9 battery=50
Cin in base1 2.7u
Rtap rail tap $tap
Rfirst rail collector1 $first
Rsecond tap collector2 {$second*(0.4 + 0.12*bias)}
Rback emitter2 base1 82k
Rbare emitter2 bypassed {max(1.2k - 120*fuzz, 1m)}
Rrest bypassed 0 {max(120*fuzz, 1)}
Cbypass bypassed 0 12u
Cout tap out 15n
Rout out 0 470k
Q1 collector1 base1 0 one
Q2 collector2 collector1 emitter2 other
"""
    + _BATTERY
)
_FIRST_TYPE = "CJE=3.3n CJC=47p MJE=0 MJC=0"
_OTHER_TYPE = "CJE=2.2n CJC=100p MJE=0 MJC=0"


_NETLISTS: dict[StageKind, str] = {
    "germanium-fuzz": f"""Two germanium transistors, the second's emitter back to the first's base
{_TWO_TRANSISTORS.substitute(first="27k", tap="560", second="11k")}
.model one NPN(IS=2u BF=75 BR=8 {_FIRST_TYPE})
.model other NPN(IS=2u BF=110 BR=8 {_OTHER_TYPE})
""",
    "silicon-fuzz": f"""Two silicon transistors, the second's emitter back to the first's base
{_TWO_TRANSISTORS.substitute(first="36k", tap="470", second="6.8k")}
.model one NPN(IS=4e-14 BF=180 BR=4 {_FIRST_TYPE})
.model other NPN(IS=4e-14 BF=210 BR=4 {_OTHER_TYPE})
""",
    "treble-booster": f"""One germanium transistor behind a small capacitor
.param bias=5 supply=9 battery=50
Cin in base 4.3n
Rtop rail base 390k
Rlow base 0 56k
Rc rail collector {{9.1k*(0.4 + 0.12*bias)}}
Re emitter 0 3.3k
Ce emitter 0 33u
Cout collector out 22n
Rout out 0 470k
Q1 collector base emitter one
{_BATTERY}
.model one NPN(IS=2u BF=75 BR=8 {_FIRST_TYPE})
""",
    "diode-clipper": """An amplifier that never saturates itself, and diodes behind a resistor
.param gain=10
Cin in entry 33n
Rentry entry 0 560k
Centry entry 0 47p
Eamplifier strong 0 entry minus 100k
Rback strong minus {4.7k + 22k*gain}
Cback strong minus 68p
Rcorner minus corner 3.9k
Ccorner corner 0 68n
Rs strong across 8.2k
Cs across 0 4.7n
D1 across 0 pair
D2 0 across pair
Cout across out 100n
Rout out 0 470k
.model pair D(IS=2.5n N=1.75)
""",
}


@lru_cache
def built_in_pedal(kind: StageKind) -> Pedal:
    """A circuit that comes with it."""
    return read_pedal(_NETLISTS[kind], kind)
