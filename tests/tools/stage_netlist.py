"""The dirt stages as netlists, written a second time for the simulator.

Values stand here as in the schematics of docs/stages.md, not as in the code.
"""

from collections.abc import Iterator
from pathlib import Path

from presolder.models.instrument.pedal import Pedal
from presolder.models.instrument.stage import Stage

PEDALS = Path(__file__).parents[1] / "data" / "pedals"

_GERMANIUM = "IS=2e-6 BF={gain} BR=8 CJE={base} MJE=0 CJC={collector} MJC=0"
_SILICON = "IS=4e-14 BF={gain} BR=4 CJE={base} MJE=0 CJC={collector} MJC=0"


def stage_lines(stage: Stage) -> list[str]:
    """From node ``out``, where the guitar's cable ends, to node ``heard``."""
    if isinstance(stage.kind, Pedal):
        return list(_own(PEDALS / f"{stage.kind.name}.cir"))
    trim = 0.4 + 0.12 * stage.bias
    battery = [
        f"Vbatt cell 0 {stage.supply_volts}",
        f"Rcell cell rail {stage.battery_ohms}",
        "Crail rail 0 22u",
    ]
    match stage.kind:
        case "germanium-fuzz":
            return [*battery, *_fuzz(stage, "27k", "560", 11e3 * trim, _GERMANIUM, 75, 110)]
        case "silicon-fuzz":
            return [*battery, *_fuzz(stage, "36k", "470", 6.8e3 * trim, _SILICON, 180, 210)]
        case "treble-booster":
            return [
                *battery,
                "Cin out base 4.3n", "Rtop rail base 390k", "Rlow base 0 56k",
                f"Rc rail coll {9.1e3 * trim!r}", "Re emit 0 3.3k", "Ce emit 0 33u",
                "Cout coll heard 22n", "Rheard heard 0 470k", "Qa coll base emit type1",
                f".model type1 NPN({_GERMANIUM.format(gain=75, base='3.3n', collector='47p')})",
            ]  # fmt: skip
        case "diode-clipper":
            return [
                "Cin out entry 33n", "Rentry entry 0 560k", "Centry entry 0 47p",
                "Eamp strong 0 entry minus 1e5", f"Rf strong minus {4.7e3 + 22e3 * stage.control!r}",
                "Cf strong minus 68p", "Rg minus corner 3.9k", "Cg corner 0 68n",
                "Rs strong across 8.2k", "Cd across 0 4.7n", "Da across 0 pair", "Db 0 across pair",
                "Cout across heard 100n", "Rheard heard 0 470k", ".model pair D(IS=2.5e-9 N=1.75)",
            ]  # fmt: skip


def _own(file: Path) -> Iterator[str]:
    """A netlist of one's own beside a guitar: its nodes get names that a guitar has not."""
    named = {"in": "out", "out": "heard", "0": "0"}
    for line in file.read_text("utf-8").splitlines()[1:]:
        words = line.split()
        ends = {"E": 4, "Q": 3}.get(line[:1].upper(), 2)
        if line.startswith("."):
            yield line
        elif words:
            nodes = [named.get(word, f"own_{word}") for word in words[1 : ends + 1]]
            yield " ".join([f"{words[0]}_own", *nodes, *words[ends + 1 :]])


def _fuzz(
    stage: Stage, first: str, tap: str, second: float, types: str, gain: int, other: int
) -> list[str]:
    bare = 1200 * (1 - stage.control / 10)
    bypassed = "emit" if bare < 1 else "wiper"
    return [
        "Cin out base 2.7u", f"Rfirst rail one {first}", f"Rtap rail tap {tap}", f"Rsecond tap two {second!r}",
        "Rf emit base 82k", "Cout tap heard 15n", "Rheard heard 0 470k",
        *([] if bare < 1 else [f"Ra emit wiper {bare!r}"]),
        f"Rb {bypassed} 0 {max(1200 - bare, 1)!r}", f"Ce {bypassed} 0 12u",
        "Qa one base 0 type1", "Qb two one emit type2",
        f".model type1 NPN({types.format(gain=gain, base='3.3n', collector='47p')})",
        f".model type2 NPN({types.format(gain=other, base='2.2n', collector='100p')})",
    ]  # fmt: skip
