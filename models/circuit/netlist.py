"""A control chain, and the circuit it may feed, as a netlist for a circuit simulator."""

import math
from collections.abc import Iterator

from presolder.models.circuit.branch import GROUND, OUTPUT, Branch, Device, Diode, Transistor
from presolder.models.circuit.chain import Chain, control_chain
from presolder.models.instrument.network import CONTACT_OHMS, Network, format_network
from presolder.models.instrument.rig import Rig

# Holds nodes that only capacitors reach; far above every resistance of a guitar.
_OPTIONS = ".options rshunt=1e15 gmin=1e-16"
_LETTERS = {"resistor": "R", "capacitor": "C", "inductor": "L", "rheostat": "R"}


def netlist(rig: Rig, network: Network | None, dial: float) -> str:
    """Write a rig with a bypass, its knob at rest, as a SPICE netlist.

    Parameters
    ----------
    rig : Rig
        With dirt that is a circuit, that circuit is part of it.
    network : Network or None
        The bypass; None is the bare pot.
    dial : float
        Where the volume knob stands, 0-10.

    Returns
    -------
    str
        An AC analysis from 20 Hz to 20 kHz of an EMF of 1 V: ``v(out)`` is the input that
        the guitar feeds, ``v(heard)`` the output of a circuit that it is part of.

    Notes
    -----
    Cards of SPICE2 (Nagel, Memorandum ERL-M520, University of California, Berkeley,
    1975) that later simulators read as well. All coils have one EMF, which an AC
    source gives each its share of; resistances that the knob makes nothing have 1 mΩ.
    """
    rig = rig.as_heard.for_any_playing
    chain = control_chain(rig, network)
    heard = _named(chain, chain.stage_output)
    lines = [
        f"* {rig.name}, {format_network(network) or 'bare'}, volume knob at {dial:g}",
        *(
            _card(number, branch, chain, dial)
            for number, branch in enumerate(chain.branches, start=1)
        ),
        *_devices(chain),
        _OPTIONS,
        ".ac dec 100 20 20k",
        f".print ac vm({heard}) vp({heard})",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def _named(chain: Chain, node: int) -> str:
    if node == GROUND:
        return "0"
    if node == chain.stage_output and chain.devices:
        return "heard"
    return "out" if node == OUTPUT else f"n{node}"


def _card(number: int, branch: Branch, chain: Chain, dial: float) -> str:
    """One branch as a line."""
    name = f"{number}{branch.part}" if branch.part else str(number)
    ends = f"{_named(chain, branch.plus)} {_named(chain, branch.minus)}"
    match branch.kind:
        case "source":
            return f"V{name} {ends} DC 0 AC {branch.value:.12g}"
        case "supply":
            return f"V{name} {ends} DC {branch.value:.12g}"
        case "amplifier":
            assert branch.control is not None
            control = " ".join(_named(chain, node) for node in branch.control)
            return f"E{name} {ends} {control} {branch.value:.12g}"
        case "rheostat":
            assert branch.rheostat is not None
            ohms = float(branch.rheostat.ohms * branch.rheostat.share(dial))
            return f"R{name} {ends} {max(ohms, CONTACT_OHMS):.12g}"
        case kind:
            return f"{_LETTERS[kind]}{name} {ends} {branch.value:.12g}"


def _devices(chain: Chain) -> Iterator[str]:
    """Diodes and transistors, each with a model of its own; their capacitances are branches."""
    for number, device in enumerate(chain.devices, start=1):
        yield from _device(number, device, chain)


def _device(number: int, device: Device, chain: Chain) -> Iterator[str]:
    match device:
        case Diode(plus, minus, saturation, emission):
            yield f"D{number} {_named(chain, plus)} {_named(chain, minus)} type{number}"
            yield f".model type{number} D(IS={saturation:.12g} N={emission:.12g})"
        case Transistor(
            collector, base, emitter, saturation, forward, reverse, polarity, slope, early
        ):
            nodes = " ".join(_named(chain, node) for node in (collector, base, emitter))
            kind = "NPN" if polarity > 0 else "PNP"
            yield f"Q{number} {nodes} type{number}"
            gains = f"BF={forward:.12g} BR={reverse:.12g}"
            if slope != 1:
                gains += f" NF={slope:.12g} NR={slope:.12g}"
            if early < math.inf:
                gains += f" VAF={early:.12g}"
            yield f".model type{number} {kind}(IS={saturation:.12g} {gains})"
