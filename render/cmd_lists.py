"""The commands that list what is built in."""

from collections.abc import Iterator

import click

from presolder.models.designs import BUILT_IN
from presolder.models.network import format_network
from presolder.models.quantities import format_quantity
from presolder.models.rig import Pot, Rig
from presolder.render.rigfile import built_in_rigs, find_rig


@click.command("designs")
def list_designs() -> None:
    """List the built-in designs with their values."""
    width = max(len(design.name) for design in BUILT_IN)
    for design in BUILT_IN:
        click.echo(
            f"{design.name:{width}}  {format_network(design.network) or '-':36}{design.title}"
        )


@click.command("rigs")
def list_rigs() -> None:
    """List the built-in rigs with their values."""
    for name in built_in_rigs():
        rig = find_rig(name)
        click.echo(f"{name}: {rig.title}")
        for line in describe_rig(rig):
            click.echo(f"    {line}")


def describe_rig(rig: Rig) -> Iterator[str]:
    """A rig's values, a line per section."""
    pickup = rig.pickup
    eddy = f", eddy {format_quantity(pickup.eddy_ohms, 'ohm')}" if pickup.eddy_ohms else ""
    yield (
        f"pickup  {format_quantity(pickup.resistance_ohms, 'ohm')},"
        f" {format_quantity(pickup.inductance_henries, 'henry')},"
        f" {format_quantity(pickup.capacitance_farads, 'farad')}{eddy}"
    )
    yield f"volume  {describe_pot(rig.volume)}"
    if rig.tone is not None:
        yield (
            f"tone    {describe_pot(rig.tone.pot)},"
            f" {format_quantity(rig.tone.capacitance_farads, 'farad')},"
            f" dial {rig.tone.dial:g}, {rig.tone.wiring} wiring"
        )
    yield f"cable   {format_quantity(rig.cable_farads, 'farad')}"
    yield (
        f"input   {format_quantity(rig.load.resistance_ohms, 'ohm')},"
        f" {format_quantity(rig.load.capacitance_farads, 'farad')}"
    )
    yield f"take    captured at the {rig.take.captured}"


def describe_pot(pot: Pot) -> str:
    """A pot's value and taper."""
    bend = "" if pot.taper.kind in ("linear", "measured") else f" ({pot.taper.midpoint:g} at half)"
    return f"{format_quantity(pot.resistance_ohms, 'ohm')} {pot.taper.kind}{bend}"
