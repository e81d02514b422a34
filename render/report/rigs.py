"""Rigs and designs as plain values."""

import math
from dataclasses import asdict
from typing import Any

from presolder.models.instrument.controls import Load
from presolder.models.instrument.dirt import AnyDirt, Curve
from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.onward import Volume
from presolder.models.instrument.rig import Capture, Channel, Rig
from presolder.models.instrument.source import CoilsInParallel, CoilsInSeries, Source, Wound


def rig_plain(rig: Rig) -> dict[str, Any]:
    """Every value of a rig; what is infinite is None, networks are expressions."""
    first, *others = (_channel_plain(one) for one in rig.channels)
    pedal = rig.pedal
    return {
        "pickup": first["pickup"],
        "volume": first["volume"],
        "tone": first["tone"],
        "cable_farads": rig.cable_farads,
        "load": _load_plain(rig.load),
        "take": _take_plain(rig.take),
        "second": others[0] if others else None,
        "others": others[1:],
        "master": None if rig.master is None else _volume_plain(rig.master),
        "shared_tone": None if rig.tone is None else asdict(rig.tone),
        "buffer": None if rig.buffer is None else asdict(rig.buffer),
        "pedal": None
        if pedal is None
        else {**_volume_plain(pedal.volume), "cable_farads": pedal.cable_farads},
        "dirt": None if rig.dirt is None else str(rig.dirt.kind),
        "player": {"plays": rig.player.plays, "dials": list(rig.player.dials)},
        "volume_wiring": rig.volume_wiring,
        "position": rig.position or None,
        "name": rig.name,
        "title": rig.title,
    }


def _load_plain(load: Load) -> dict[str, Any]:
    ohms = load.resistance_ohms
    return {
        "resistance_ohms": None if math.isinf(ohms) else ohms,
        "capacitance_farads": load.capacitance_farads,
        "circuit": None if load.stage is None else str(load.stage.kind),
    }


def _channel_plain(channel: Channel) -> dict[str, Any]:
    return {
        "pickup": _source_plain(channel.pickup),
        **_volume_plain(channel),
        "tone": None if channel.tone is None else asdict(channel.tone),
        "strength": channel.strength,
    }


def _volume_plain(one: Channel | Volume) -> dict[str, Any]:
    own = one.bypass
    return {
        "volume": asdict(one.volume),
        "dial": one.held_at,
        "network": "same" if own == "auditioned" else format_network(own) or None,
    }


def _source_plain(source: Source) -> dict[str, Any]:
    """A coil's values, or those of several under how they are wired."""
    match source:
        case CoilsInSeries(parts):
            return {"series": [_source_plain(part) for part in parts]}
        case CoilsInParallel(parts):
            return {"parallel": [_source_plain(part) for part in parts]}
        case Wound(pickup, share, name):
            return {"name": name, "share": share, **asdict(pickup)}
        case _:
            return asdict(source)


def _take_plain(take: Capture) -> dict[str, Any]:
    """The chain as it stood; None throughout for a string take."""
    stood = take.rig
    load = None if stood is None else _load_plain(stood.load)
    tone = None if stood is None else stood.nearest_tone
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


def dirt_plain(dirt: AnyDirt) -> dict[str, Any]:
    """A dirt's settings; of a curve of one's own its name and points."""
    plain = asdict(dirt) | {"kind": str(dirt.kind)}
    return plain | {"points": dirt.kind.points} if isinstance(dirt.kind, Curve) else plain
