"""Rigs and designs as plain values."""

import math
from dataclasses import asdict
from typing import Any

from presolder.models.instrument.controls import Load
from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.rig import Channel, Rig, Take


def rig_plain(rig: Rig) -> dict[str, Any]:
    """Every value of a rig; what is infinite is None, networks are expressions."""
    first, *others = rig.channels
    return {
        "pickup": asdict(first.pickup),
        "volume": asdict(first.volume),
        "tone": None if first.tone is None else asdict(first.tone),
        "cable_farads": rig.cable_farads,
        "load": _load_plain(rig.load),
        "take": _take_plain(rig.take),
        "second": _second_plain(others[0]) if others else None,
        "dirt": None if rig.dirt is None else rig.dirt.kind,
        "player": {"plays": rig.player.plays, "dials": list(rig.player.dials)},
        "volume_wiring": rig.volume_wiring,
        "name": rig.name,
        "title": rig.title,
    }


def _load_plain(load: Load) -> dict[str, Any]:
    ohms = load.resistance_ohms
    return {
        "resistance_ohms": None if math.isinf(ohms) else ohms,
        "capacitance_farads": load.capacitance_farads,
        "circuit": None if load.stage is None else load.stage.kind,
    }


def _second_plain(channel: Channel) -> dict[str, Any]:
    own = channel.bypass
    return {
        "pickup": asdict(channel.pickup),
        "volume": asdict(channel.volume),
        "tone": None if channel.tone is None else asdict(channel.tone),
        "dial": channel.held_at,
        "network": "same" if own == "auditioned" else format_network(own) or None,
        "strength": channel.strength,
    }


def _take_plain(take: Take) -> dict[str, Any]:
    """The chain as it stood; None throughout for a string take."""
    stood = take.rig
    load = None if stood is None else _load_plain(stood.load)
    tone = None if stood is None else stood.first.tone
    return {
        "captured": take.captured,
        "cable_farads": None if stood is None else stood.cable_farads,
        "input_ohms": None if load is None else load["resistance_ohms"],
        "input_farads": None if load is None else load["capacitance_farads"],
        "volume_dial": take.dial,
        "tone_dial": None if tone is None else tone.dial,
        "network": format_network(take.network) or None,
    }


def design_plain(design: Design) -> dict[str, Any]:
    """A design's name, expression and title."""
    return {
        "name": design.name,
        "expression": format_network(design.network) or None,
        "title": design.title,
    }
