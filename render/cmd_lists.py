"""The commands that list what is built in."""

import json
from collections.abc import Iterator

import click

from presolder.models.designs import BUILT_IN
from presolder.models.network import format_network
from presolder.models.quantities import format_quantity
from presolder.models.rig import Pickup, Pot, Rig, Tone
from presolder.render.options import json_option
from presolder.render.rigfile import built_in_rigs, find_rig
from presolder.render.rigvalues import rig_values


@click.command("designs")
@json_option
def list_designs(as_json_text: bool) -> None:
    """List the built-in designs with their values."""
    if as_json_text:
        entries = [
            {"name": d.name, "expression": format_network(d.network) or None, "title": d.title}
            for d in BUILT_IN
        ]
        click.echo(json.dumps({"designs": entries}, indent=2))
        return
    width = max(len(design.name) for design in BUILT_IN)
    for design in BUILT_IN:
        click.echo(
            f"{design.name:{width}}  {format_network(design.network) or '-':36}{design.title}"
        )


@click.command("rigs")
@json_option
def list_rigs(as_json_text: bool) -> None:
    """List the built-in rigs with their values."""
    if as_json_text:
        rigs = [rig_values(find_rig(name)) for name in built_in_rigs()]
        click.echo(json.dumps({"rigs": rigs}, indent=2))
        return
    for name in built_in_rigs():
        rig = find_rig(name)
        click.echo(f"{name}: {rig.title}")
        for line in describe_rig(rig):
            click.echo(f"    {line}")


def describe_rig(rig: Rig) -> Iterator[str]:
    """A rig's values, a line per section."""
    yield f"pickup  {describe_pickup(rig.pickup)}"
    wiring = ", independent wiring" if rig.volume_wiring == "independent" else ""
    yield f"volume  {describe_pot(rig.volume)}{wiring}"
    if rig.tone is not None:
        yield f"tone    {describe_tone(rig.tone)}"
    if rig.second is not None:
        second = rig.second
        stands = "turned together with the first" if second.dial is None else f"at {second.dial:g}"
        yield f"second  pickup {describe_pickup(second.pickup)}"
        yield f"        volume {describe_pot(second.volume)}, {stands}"
        if second.tone is not None:
            yield f"        tone {describe_tone(second.tone)}"
    yield f"cable   {format_quantity(rig.cable_farads, 'farad')}"
    yield (
        f"input   {format_quantity(rig.load.resistance_ohms, 'ohm')},"
        f" {format_quantity(rig.load.capacitance_farads, 'farad')}"
    )
    yield f"take    captured at the {rig.take.captured}"


def describe_pickup(pickup: Pickup) -> str:
    """A pickup's values."""
    eddy = f", eddy {format_quantity(pickup.eddy_ohms, 'ohm')}" if pickup.eddy_ohms else ""
    return (
        f"{format_quantity(pickup.resistance_ohms, 'ohm')},"
        f" {format_quantity(pickup.inductance_henries, 'henry')},"
        f" {format_quantity(pickup.capacitance_farads, 'farad')}{eddy}"
    )


def describe_tone(tone: Tone) -> str:
    """A tone control's values and place."""
    return (
        f"{describe_pot(tone.pot)}, {format_quantity(tone.capacitance_farads, 'farad')},"
        f" dial {tone.dial:g}, {tone.wiring} wiring"
    )


def describe_pot(pot: Pot) -> str:
    """A pot's value and taper."""
    bend = "" if pot.taper.kind in ("linear", "measured") else f" ({pot.taper.midpoint:g} at half)"
    return f"{format_quantity(pot.resistance_ohms, 'ohm')} {pot.taper.kind}{bend}"
