"""A guitar's pickups, switch and volumes as a rig file has them, and its situations."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from presolder.models.decibels import amplitude
from presolder.models.errors import InputError, place
from presolder.models.instrument.built_in import for_volume
from presolder.models.instrument.controls import Pickup, Pot, require_dial
from presolder.models.instrument.expression import parse_source
from presolder.models.instrument.instrument import Blend, Instrument, Own, Situation
from presolder.models.instrument.network import Network
from presolder.models.instrument.onward import BUFFER_PLACES, Auditioned, Buffer, Pedal, Volume
from presolder.models.instrument.plausible import Kind
from presolder.models.instrument.quantities import require_within
from presolder.models.instrument.rig import VOLUME_WIRINGS, Capture, Rig, VolumeWiring
from presolder.models.instrument.source import CoilsInParallel, CoilsInSeries, Piezo, Source, Wound
from presolder.render.files.designs import resolve_design
from presolder.render.files.dirt import read_dirt
from presolder.render.files.parts import (
    changed_load,
    checked,
    optional,
    read_cable,
    read_load,
    read_pickup,
    read_piezo,
    read_pot,
    read_tone,
)
from presolder.render.files.toml import Section

WIRING_SECTIONS = (
    "title", "pickup", "pickups", "switch", "turns", "volume", "volumes", "tone", "tones", "blend",
    "second", "buffer", "cable", "pedal", "input",
)  # fmt: skip
_FIRST, _SECOND = "first", "second"
_MOST_PICKUPS, _MOST_POSITIONS, _MOST_SITUATIONS = 12, 24, 24
_MOST_OUT_DB = 40.0


def read_wiring(whole: Section, path: Path) -> Instrument:
    """Everything of a rig file that is soldered together, and the cable and input behind it.

    Raises
    ------
    InputError
        Naming section, key, the bad value and what is accepted.
    """
    pair, folder = "second" in whole.table, path.parent
    strange = [
        key for key in ("pickups", "volumes", "tones", "switch", "blend") if key in whole.table
    ]
    if pair and strange:
        raise InputError(f"{path}: [second] and [{strange[0]}] do not go together; write [pickups]")
    coils = _read_pair(whole) if "pickup" in whole.table else _read_pickups(whole)
    blend = optional(whole, "blend", lambda s: _read_blend(s, coils))
    own = _read_second(whole, folder) if pair else _read_own(whole, folder, coils)
    if "volume" not in whole.table and not (own or blend):
        raise InputError(f"{path}: section [volume] is missing")
    master = tone = None
    if not pair:
        # Beside a [second] the plain sections are the first pickup's.
        master = optional(whole, "volume", lambda s: _read_volume(s, folder, "bare", "wiring"))
        tone = optional(whole, "tone", lambda s: read_tone(s, folder))
    return Instrument(
        _read_switch(whole, coils),
        own,
        master,
        tone,
        blend,
        _read_lugs(whole),
        optional(whole, "buffer", _read_buffer),
        checked(whole.sub("cable"), read_cable),
        optional(whole, "pedal", lambda s: _read_pedal(s, folder)),
        checked(whole.sub("input"), read_load),
        name=path.stem,
        title=whole.title(),
        turns=whole.text("turns", ""),
    )


def _read_pair(whole: Section) -> dict[str, Source]:
    """The one `[pickup]`, and the `[second]` if there is one."""
    if "pickups" in whole.table:
        raise InputError(f"{whole.where}: give either [pickup] or [pickups]")
    first = checked(whole.sub("pickup"), _read_source)
    coils: dict[str, Source] = {_FIRST: Wound(first, 1.0, _FIRST)}
    if "second" in whole.table:
        section = whole.sub("second")
        section.only("pickup", "volume", "tone", "dial", "design", "level_db")
        for key in ("pickup", "volume"):
            with place(section.where):
                section.required(key)
        level_db = section.number("level_db", 0.0)
        with place(section.where):
            require_within([("level_db", level_db, -_MOST_OUT_DB, _MOST_OUT_DB)])
        coils[_SECOND] = Wound(
            checked(section.sub("pickup"), read_pickup), amplitude(level_db), _SECOND
        )
    return coils


def _read_source(section: Section) -> Pickup | Piezo:
    return read_piezo(section) if section.table.get("kind") == "piezo" else read_pickup(section)


def _read_pickups(whole: Section) -> dict[str, Source]:
    """All `[pickups]`, each a coil or several, by name; their coils too, as pickup.coil."""
    if "pickups" not in whole.table:
        raise InputError(f"{whole.where}: section [pickup] is missing")
    section = whole.sub("pickups")
    pickups = {name: tuple(_coils(section.sub(name), name)) for name in section.table}
    count = sum(map(len, pickups.values()))
    if not 1 <= count <= _MOST_PICKUPS:
        raise InputError(f"{section.where}: {count} coils; 1 to {_MOST_PICKUPS} are possible")
    full = next(iter(pickups.values()))[0].pickup.output_volts
    named: dict[str, Source] = {}
    # In the order of the file: the first pickup is the one whose knob is turned.
    for name, coils in pickups.items():
        parts = tuple(replace(c, share=c.share * c.pickup.output_volts / full) for c in coils)
        named |= {one.name: one for one in parts}
        named[name] = CoilsInSeries(parts) if len(parts) > 1 else parts[0]
    return named


def _coils(section: Section, name: str) -> Iterator[Wound]:
    inner = [key for key, value in section.table.items() if isinstance(value, dict)]
    if inner:
        section.only(*inner)
        for key in inner:
            yield from _coils(section.sub(key), f"{name}.{key}")
        return
    plain = {key: value for key, value in section.table.items() if key != "reversed"}
    share = -1.0 if section.flag("reversed") else 1.0
    bare = Section(section.where, plain, section.as_given)
    yield Wound(checked(bare, _read_source), share, name)


def _read_switch(whole: Section, coils: Mapping[str, Source]) -> dict[str, Source]:
    """What each position puts on; without a switch, all pickups side by side."""
    if "switch" not in whole.table:
        tops = tuple(coil for name, coil in coils.items() if "." not in name)
        return {"": tops[0] if len(tops) == 1 else CoilsInParallel(tops)}
    section = whole.sub("switch")
    if not 1 <= len(section.table) <= _MOST_POSITIONS:
        raise InputError(
            f"{section.where}: {len(section.table)} positions; 1 to {_MOST_POSITIONS} are possible"
        )
    positions = {}
    for name in section.table:
        with place(f"{section.where} {name}"):
            positions[name] = parse_source(section.text(name, ""), coils)
    return positions


def _read_own(whole: Section, folder: Path, coils: Mapping[str, Source]) -> dict[str, Own]:
    """The `[volumes]` and `[tones]` of single pickups."""
    section, tones = whole.sub("volumes"), whole.sub("tones")
    pickups = [name for name in coils if "." not in name]
    # With a master, that is what gets the bypass unless a volume says otherwise.
    design = "bare" if "volume" in whole.table else "same"
    for one in (section, tones):
        one.only(*pickups, *(("wiring",) if one is section else ()))
    for name in tones.table:
        if name not in section.table:
            raise InputError(f"{tones.where} {name}: the pickup has no [volumes.{name}]")
    return {
        name: Own(
            checked(section.sub(name), lambda s: _read_volume(s, folder, design)),
            optional(tones, name, lambda s: read_tone(s, folder)),
        )
        for name in section.table
        if name != "wiring"
    }


def _read_second(whole: Section, folder: Path) -> dict[str, Own]:
    """A volume each, of the first pickup and the second."""
    second = whole.sub("second")
    own = Own(
        checked(whole.sub("volume"), lambda s: _read_volume(s, folder, "same", "wiring")),
        optional(whole, "tone", lambda s: read_tone(s, folder)),
    )
    with place(second.where):
        stands = _read_stands(second)
        if stands is not None:
            require_dial("dial", stands)
    volume = checked(second.sub("volume"), lambda s: read_pot(s, folder, "volume pot"))
    with place(second.where):
        bypass = _read_design(second, volume, "same")
    tone = optional(second, "tone", lambda s: read_tone(s, folder))
    return {_FIRST: own, _SECOND: Own(Volume(volume, bypass, stands), tone)}


def _read_volume(
    section: Section, folder: Path, design: str, *extra: str, kind: Kind = "volume pot"
) -> Volume:
    pot = read_pot(section, folder, kind, "dial", "design", *extra)
    return Volume(pot, _read_design(section, pot, design), _read_stands(section))


def _read_stands(section: Section) -> float | None:
    """Where a volume stands while another one is turned."""
    return None if section.table.get("dial") == "together" else section.number("dial", 10.0)


def _read_design(section: Section, pot: Pot, default: str) -> Network | Auditioned | None:
    design = section.text("design", default)
    return "auditioned" if design == "same" else for_volume(resolve_design(design), pot).network


def _read_lugs(whole: Section) -> VolumeWiring:
    """Which way round the volumes are wired."""
    key = "volume" if "second" in whole.table or "volumes" not in whole.table else "volumes"
    return whole.sub(key).choice("wiring", VOLUME_WIRINGS, "lug")


def _read_blend(section: Section, coils: Mapping[str, Source]) -> Blend:
    section.only("resistance", "between", "dial")
    between = section.table.get("between")
    if not isinstance(between, list) or len(between) != 2 or not all(b in coils for b in between):
        raise InputError(f"between = {between!r} must be a list of two of {', '.join(coils)}")
    ohms = section.quantity("resistance", "ohm", kind="volume pot")
    return Blend(ohms, (between[0], between[1]), section.number("dial", 5.0))


def _read_buffer(section: Section) -> Buffer:
    section.only(
        "at", "input_resistance", "input_capacitance", "output_resistance", "gain_db"
    )  # fmt: skip
    plain = Buffer()
    return Buffer(
        section.choice("at", BUFFER_PLACES, plain.place),
        section.quantity("input_resistance", "ohm", plain.input_ohms, kind="input resistance"),
        section.quantity("input_capacitance", "farad", 0.0, kind="input capacitance"),
        section.quantity("output_resistance", "ohm", plain.output_ohms),
        section.number("gain_db", 0.0),
    )


def _read_pedal(section: Section, folder: Path) -> Pedal:
    volume = _read_volume(section, folder, "bare", "cable", kind="volume pedal")
    return Pedal(volume, section.quantity("cable", "farad", 0.0, kind="cable capacitance"))


def read_stands(
    whole: Section, instrument: Instrument, rig: Rig, take: Capture, folder: Path
) -> tuple[Situation, ...]:
    """The `[situations]`; without any, one for each position of the switch.

    Parameters
    ----------
    whole : Section
        The rig file.
    instrument : Instrument
        Read from it.
    rig : Rig
        As it stands at the first position, with its dirt.
    take : Capture
        How takes were made, whatever the situation.
    folder : Path
        From where files are named.
    """
    if "situations" not in whole.table:
        return tuple(
            Situation(name, replace(instrument.at(name), dirt=rig.dirt, take=take))
            for name in instrument.positions
        )
    section = whole.sub("situations")
    if not 1 <= len(section.table) <= _MOST_SITUATIONS:
        raise InputError(
            f"{section.where}: {len(section.table)} situations;"
            f" 1 to {_MOST_SITUATIONS} are possible"
        )
    found = []
    for name in section.table:
        inner = section.sub(name)
        with place(inner.where):
            found.append(_read_situation(inner, name, whole, instrument, rig, take, folder))
    return tuple(found)


def _read_situation(
    section: Section,
    name: str,
    whole: Section,
    instrument: Instrument,
    rig: Rig,
    take: Capture,
    folder: Path,
) -> Situation:
    section.only(
        "switch", "turns", "tone_dial", "blend_dial", "pedal_dial", "cable", "cable_length",
        "input_resistance", "input_capacitance", "dirt", "weight",
    )  # fmt: skip
    for key, put in (
        ("tone_dial", Instrument.with_tone_at),
        ("blend_dial", Instrument.with_blend_at),
        ("pedal_dial", Instrument.with_pedal_at),
    ):
        dial = section.optional_number(key)
        if dial is not None:
            instrument = put(instrument, dial)
    switch = section.text("switch", next(iter(instrument.positions)))
    stood = instrument.at(switch, section.text("turns", ""))
    dirt = rig.dirt
    if "dirt" in section.table:
        kind = section.table["dirt"]
        written = kind if isinstance(kind, dict) else {"kind": kind}
        dirt = None
        if kind != "none":
            own = Section(f"{section.where} dirt", written, section.as_given)
            dirt = checked(own, lambda s: read_dirt(s, folder))
    return Situation(
        name,
        replace(
            stood,
            cable_farads=_read_other_cable(section, whole, rig),
            load=changed_load(section, rig.load),
            dirt=dirt,
            take=take,
        ),
        section.number("weight", 1.0),
    )


def _read_other_cable(section: Section, whole: Section, rig: Rig) -> float:
    """Farads of the cable in a situation: its own, or of the rig's kind in another length."""
    if {"cable", "cable_length"} <= section.table.keys():
        raise InputError("give either cable or cable_length")
    if "cable_length" in section.table:
        kind = whole.sub("cable").table
        if not kind or "capacitance" in kind:
            raise InputError("cable_length needs a [cable] of a length, whose kind it is of")
        table = kind | {"length": section.table["cable_length"]}
        table.pop("length_m", None)
        return read_cable(Section(section.where, table, section.as_given))
    return section.quantity("cable", "farad", rig.cable_farads, kind="cable capacitance")
