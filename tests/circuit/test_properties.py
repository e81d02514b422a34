"""Laws that every circuit of this kind obeys, on random ones (hypothesis)."""

from dataclasses import replace
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from presolder.models.circuit.assembly import assemble
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.recursion import discretise
from presolder.models.circuit.response import transfer
from presolder.models.circuit.stage_parts import stage_parts
from presolder.models.decibels import decibels
from presolder.models.instrument.built_in import BUILT_IN
from presolder.models.instrument.circuits import StageKind
from presolder.models.instrument.controls import Load, Pickup
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import fraction_below_wiper
from presolder.models.instrument.network import (
    Capacitor,
    Gang,
    Network,
    Parallel,
    Resistor,
    Series,
    format_network,
    join,
    leaves,
)
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from random_circuits import random_network, random_rig
from rigs import single
from stage_netlist import stage_lines

FREQUENCY_HZ = np.geomspace(20, 20_000, 31)
circuits = st.tuples(st.integers(0, 2**31), st.integers(0, 200))
dials = st.floats(0.05, 10)


def drawn(case: tuple[int, int]) -> tuple[Rig, Network | None]:
    random = np.random.default_rng(case[0])
    return random_rig(random, case[1]), random_network(random, case[1])


@settings(max_examples=200, deadline=None)
@given(circuits, dials)
def test_output_power_never_exceeds_the_available_power(case: tuple[int, int], dial: float) -> None:
    """abs(H)^2 <= 1 / (4 Rw G), with G the conductance from output to ground.

    Derivation: an EMF u behind the winding resistance Rw can deliver at most
    abs(u)^2 / (4 Rw) to anything (maximum power transfer). Everything else is
    passive, so the resistors from the output to ground, which take
    abs(H u)^2 G, cannot take more. The pickup's resonance may lift abs(H)
    above 1, but never above this.
    """
    rig, network = drawn(case)
    lower = rig.first.volume.resistance_ohms * float(
        fraction_below_wiper(rig.first.volume.taper, dial)
    )
    conductance = 1 / rig.load.resistance_ohms + 1 / max(lower, 1e-6)
    bound = 1 / np.sqrt(4 * rig.first.pickup.resistance_ohms * conductance)
    size = np.abs(transfer(chain_equations(rig, network), FREQUENCY_HZ, dial))
    assert size.max() <= bound * (1 + 1e-9)


@settings(max_examples=100, deadline=None)
@given(circuits, dials)
def test_reciprocity(case: tuple[int, int], dial: float) -> None:
    """Current into the shorted EMF from one ampere at the output equals H in size.

    For a reciprocal network, voltage transfer one way is current transfer the
    other way (Desoer and Kuh, Basic Circuit Theory, chapter 16; from memory).
    """
    rig, network = drawn(case)
    descriptor = assemble(control_chain(rig, network).branches)
    system = descriptor.system(dial)[0]
    source_row = int(np.flatnonzero(descriptor.common_drive)[0])
    injected = np.zeros(system.shape[0])
    injected[descriptor.output] = 1.0
    for frequency_hz in FREQUENCY_HZ[::6]:
        pencil = 2j * np.pi * frequency_hz * descriptor.mass - system
        forward = np.linalg.solve(pencil, descriptor.common_drive)[descriptor.output]
        backward = np.linalg.solve(pencil, injected)[source_row]
        assert abs(abs(forward) - abs(backward)) <= 1e-7 * abs(forward)


@settings(max_examples=60, deadline=None)
@given(circuits)
def test_level_rises_with_the_dial_without_gangs_at_low_frequency(case: tuple[int, int]) -> None:
    """At 20 Hz the chain is resistive but for the tone control's capacitor."""
    rig, network = drawn(case)
    if any(isinstance(leaf, Gang) for leaf in leaves(network)):
        network = None
    level = np.abs(transfer(chain_equations(rig, network), 20.0, np.linspace(0, 10, 201))[:, 0])
    assert np.all(np.diff(level) >= -1e-6 * level.max())


@settings(max_examples=60, deadline=None)
@given(circuits, st.floats(0.1, 9.9))
def test_response_is_continuous_in_the_dial(case: tuple[int, int], dial: float) -> None:
    rig, network = drawn(case)
    near = transfer(chain_equations(rig, network), FREQUENCY_HZ, [dial, dial + 1e-6])
    assert np.abs(near[1] - near[0]).max() < 1e-4 * np.abs(near[0]).max() + 1e-7


@settings(max_examples=60, deadline=None)
@given(circuits, dials)
def test_order_and_spelling_of_a_network_do_not_matter(case: tuple[int, int], dial: float) -> None:
    rig, network = drawn(case)
    if network is None:
        return
    turned = _reversed(network)
    again = parse_expression(format_network(_rounded(network)))
    one = transfer(chain_equations(rig, network), FREQUENCY_HZ, dial)
    assert np.abs(transfer(chain_equations(rig, turned), FREQUENCY_HZ, dial) / one - 1).max() < 1e-7
    same = transfer(chain_equations(rig, _rounded(network)), FREQUENCY_HZ, dial)
    assert np.abs(transfer(chain_equations(rig, again), FREQUENCY_HZ, dial) / same - 1).max() < 1e-7


def _reversed(network: Network) -> Network:
    if isinstance(network, Series | Parallel):
        return type(network)(tuple(_reversed(part) for part in network.parts[::-1]))
    return network


def _rounded(network: Network) -> Network:
    """Flattened, and with figures that the notation keeps."""
    match network:
        case Resistor(ohms):
            return Resistor(float(f"{ohms:.4g}"))
        case Capacitor(farads):
            return Capacitor(float(f"{farads:.4g}"))
        case Gang(ohms, taper, at_ten):
            bend = float(f"{taper.midpoint:.4g}")
            return Gang(float(f"{ohms:.4g}"), replace(taper, midpoint=bend), at_ten)
        case Series(parts) | Parallel(parts):
            return join(type(network), [_rounded(part) for part in parts])


@settings(max_examples=60, deadline=None)
@given(circuits, dials, st.floats(0.3, 3.0))
def test_impedance_scaling_leaves_the_response(
    case: tuple[int, int], dial: float, k: float
) -> None:
    """R k, L k and C / k everywhere: a ratio of voltages does not change."""
    rig, network = drawn(case)
    pickup, tone = rig.first.pickup, rig.first.tone
    volume = rig.first.volume
    channel = replace(
        rig.first,
        pickup=Pickup(
            pickup.resistance_ohms * k,
            pickup.inductance_henries * k,
            pickup.capacitance_farads / k,
            None if pickup.eddy_ohms is None else pickup.eddy_ohms * k,
            pickup.leakage_henries * k,
        ),
        volume=replace(volume, resistance_ohms=volume.resistance_ohms * k),
        tone=tone
        and replace(
            tone,
            pot=replace(tone.pot, resistance_ohms=tone.pot.resistance_ohms * k),
            capacitance_farads=tone.capacitance_farads / k,
        ),
    )
    scaled = replace(
        rig.with_first(channel),
        cable_farads=rig.cable_farads / k,
        load=Load(rig.load.resistance_ohms * k, rig.load.capacitance_farads / k),
    )
    one = transfer(chain_equations(rig, network), FREQUENCY_HZ, dial)
    other = transfer(chain_equations(scaled, _scaled(network, k)), FREQUENCY_HZ, dial)
    assert np.abs(other / one - 1).max() < 1e-6


def _scaled(network: Network | None, k: float) -> Network | None:
    match network:
        case None:
            return None
        case Resistor(ohms):
            return Resistor(ohms * k)
        case Capacitor(farads):
            return Capacitor(farads / k)
        case Gang(ohms, taper, at_ten):
            return Gang(ohms * k, taper, at_ten)
        case Series(parts) | Parallel(parts):
            scaled = [_scaled(part, k) for part in parts]
            return type(network)(tuple(part for part in scaled if part is not None))


@settings(max_examples=40, deadline=None)
@given(circuits)
def test_recursion_is_stable_at_every_dial(case: tuple[int, int]) -> None:
    """Positions between table rows included: spectral radius of the step at most 1."""
    rig, network = drawn(case)
    recursion = discretise(chain_equations(rig, network), 48_000, np.linspace(0, 10, 41))
    steps = recursion.table[:, :-1, : recursion.state_count]
    between = 0.5 * (steps[1:] + steps[:-1])
    for matrices in (steps, between):
        assert np.abs(np.linalg.eigvals(matrices)).max() <= 1 + 1e-9


@pytest.mark.slow
def test_numerical_extremes() -> None:
    """1 ohm to 100 Mohm pots, 1 pF and 10 uF, no cable, no load, both end stops."""
    from presolder.models.instrument.controls import Pot

    for ohms in (1.0, 1e8):
        for farads in (1e-12, 10e-6):
            for cable in (0.0, 1e-12, 10e-6):
                for load in (Load(), Load(1.0), Load(1e8, 1e-6)):
                    rig = single(Pickup(8e3, 4.0), Pot(ohms), None, cable, load)
                    for design in BUILT_IN:
                        for network in (design.network, Capacitor(farads)):
                            descriptor = chain_equations(rig, network)
                            response = transfer(
                                descriptor, FREQUENCY_HZ[::5], [0.0, 0.2, 5.0, 10.0]
                            )
                            assert np.all(np.isfinite(response))
                            assert np.all(response[0] == 0) or np.abs(response[0]).max() < 1e-12
                            bare = transfer(chain_equations(rig, None), FREQUENCY_HZ[::5], [10.0])
                            assert np.abs(decibels(response[3]) - decibels(bare[0])).max() < 1e-6
                            table = discretise(
                                descriptor, 48_000, np.array([0.0, 0.2, 5.0, 10.0])
                            ).table
                            assert np.all(np.isfinite(table))


@pytest.mark.parametrize("kind", ["germanium-fuzz", "silicon-fuzz"])
@pytest.mark.parametrize("control", [0.0, 3.0, 7.5, 10.0])
def test_a_fuzz_knob_divides_its_resistor(kind: StageKind, control: float) -> None:
    """What the capacitor leaves bare, and the rest of it, beside the netlist written a second time."""

    def emitter_ohms(of: Stage) -> list[float]:
        lines = (line.split() for line in stage_lines(of))
        return sorted(float(words[3]) for words in lines if words[0] in ("Ra", "Rb"))

    resistors = sorted(
        branch.value
        for branch in stage_parts(Stage(kind, control=control), 1, count(2)).branches
        # A thousandth of an ohm stands for none.
        if branch.kind == "resistor" and branch.value > 0.01
    )
    told = emitter_ohms(Stage(kind, control=control))
    assert sum(told) == pytest.approx(1200, abs=1)
    for ohms in told:
        assert any(one == pytest.approx(ohms, abs=1e-6) for one in resistors)
    others = [one for one in resistors if not any(abs(one - ohms) < 1e-6 for ohms in told)]
    whole = Stage(kind, control=5.0)
    half = [b.value for b in stage_parts(whole, 1, count(2)).branches if b.kind == "resistor"]
    assert sum(others) == pytest.approx(sum(half) - 1200, abs=1e-6)
