"""A circuit that the guitar feeds, as the page's engine takes it, and parts as numbers."""

from itertools import count
from typing import Any

import numpy as np
from numpy.typing import NDArray

from presolder.models.circuit.branch import GROUND, Branch
from presolder.models.circuit.entrance import entrance_ohms
from presolder.models.circuit.junctions import Junctions, junctions_of
from presolder.models.circuit.stage_parts import stage_parts
from presolder.models.instrument.law import Taper, fraction_below_wiper
from presolder.models.instrument.stage import Stage

_LETTERS = {
    "resistor": "R",
    "capacitor": "C",
    "inductor": "L",
    "source": "V",
    "rheostat": "P",
    "amplifier": "E",
    "supply": "S",
}
_INPUT_HZ = 1000.0
# Points by which a measured taper is sent, evenly over the dial.
_TAPER_POINTS = 513


def knobs_of(stage: Stage) -> dict[str, float]:
    """A circuit's settings by the names that the page has for them."""
    return stage.knobs | {"touch": stage.touch_db}


def stage_plain(stage: Stage) -> dict[str, Any]:
    """A circuit's parts, and what each knob adds to their values; node 1 is its input.

    Every value goes with each knob by itself along a straight line, as far as its least.
    """
    own = stage_parts(stage, 1, count(2))
    nodes = 1 + max(max(branch.plus, branch.minus) for branch in own.branches)
    junctions = junctions_of(own.devices, nodes - 1)
    (impedance,) = entrance_ohms(stage, [_INPUT_HZ])
    return {
        "kind": str(stage.kind),
        "words": str(stage.kind).replace("-", " "),
        "control": stage.pedal.control,
        "ohms": float(abs(impedance)),
        "farads": 0.0,
        "stage": {
            "nodes": nodes,
            "output": own.output,
            "branches": [
                branch_plain(branch)
                | {"value": value.base, "moved": dict(value.moved), "least": value.ends[0]}
                for branch, value in zip(own.branches, own.values, strict=True)
            ],
            "coupling": junctions.coupling.tolist(),
            "junctions": _junctions_plain(junctions),
        },
    }


def _junctions_plain(junctions: Junctions) -> list[dict[str, float]]:
    def node(there: NDArray[np.bool_]) -> int:
        return int(np.argmax(there)) + 1 if there.any() else GROUND

    rows = zip(
        junctions.ends.T, junctions.saturation, junctions.slope_volts, *junctions.early, strict=True
    )
    return [
        {
            "plus": node(ends > 0), "minus": node(ends < 0), "amperes": float(amperes),
            "volts": float(volts), "early": float(early), "emitter": int(emitter),
        }
        for ends, amperes, volts, early, emitter in rows
    ]  # fmt: skip


def branch_plain(branch: Branch) -> dict[str, Any]:
    """A part, by a letter for its kind."""
    plain: dict[str, Any] = {
        "kind": _LETTERS[branch.kind], "a": branch.plus, "b": branch.minus, "value": branch.value,
        "part": branch.part,
    }  # fmt: skip
    if branch.control is not None:
        return plain | {"control": list(branch.control)}
    if branch.rheostat is None:
        return plain
    rheostat = branch.rheostat
    return plain | {
        "value": rheostat.ohms,
        "law": law_plain(rheostat.taper),
        "falling": rheostat.falling,
        "floor": rheostat.floor_ohms / rheostat.ohms,
        "held": rheostat.held_at,
    }


def law_plain(taper: Taper) -> dict[str, Any]:
    """A taper, a measured one by points."""
    if taper.kind != "measured":
        return {"kind": taper.kind, "midpoint": taper.midpoint}
    dial = np.linspace(0.0, 10.0, _TAPER_POINTS)
    return {"kind": taper.kind, "points": fraction_below_wiper(taper, dial).tolist()}
