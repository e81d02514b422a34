"""Rigs as the user names them: built in, or a TOML file."""

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

import tomlkit

from presolder.models.decibels import amplitude
from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import (
    TONE_WIRINGS,
    TYPICAL_OUTPUT_VOLTS,
    Load,
    Pickup,
    Pot,
    Tone,
    require_dial,
)
from presolder.models.instrument.designs import for_volume
from presolder.models.instrument.dirt import ANY_KINDS, DIRT_KINDS, AnyDirt, AnyKind, Dirt
from presolder.models.instrument.markings import law_of, read_length, read_pot_marking
from presolder.models.instrument.plausible import Kind
from presolder.models.instrument.player import PLAYING, Player
from presolder.models.instrument.rig import CAPTURED, VOLUME_WIRINGS, Channel, Rig, Take
from presolder.models.instrument.stage import Stage
from presolder.models.instrument.taper import NAMED_TAPERS, Taper, TaperKind
from presolder.render.files.designs import resolve_design
from presolder.render.files.points import read_points
from presolder.render.files.toml import Section, nearest, read_text, read_toml

DEFAULT_RIG = "humbucker-500k"
_PICOFARAD = 1e-12
FUZZ_WAS_RENAMED = (
    "'fuzz' is now 'lopsided-10k', the same curve; 'germanium-fuzz' and 'silicon-fuzz' are circuits"
)
Part = TypeVar("Part")


def built_in_rigs() -> dict[str, Path]:
    """Name and file of every built-in rig, by name."""
    folder = Path(str(resources.files("presolder.render").joinpath("rigs")))
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}


def find_rig(name_or_path: str, *, as_given: bool = False) -> Rig:
    """Load a rig by built-in name or file path.

    Parameters
    ----------
    name_or_path : str
        A name from `built_in_rigs`, or the path of a TOML file.
    as_given : bool
        Whether values are taken that parts of their kind do not have.

    Raises
    ------
    InputError
        If there is no such rig, or its file has an error.
    """
    known = built_in_rigs()
    if name_or_path in known:
        return read_rig(known[name_or_path])
    path = Path(name_or_path)
    if not path.exists() and path.suffix != ".toml" and path.name == name_or_path:
        raise InputError(
            f"rig {name_or_path!r} is neither a file nor built in; nearest:"
            f" {nearest(name_or_path, known)}; one of {', '.join(known)}"
        )
    return read_rig(path, as_given=as_given)


def copied_rig(name_or_path: str, changes: Mapping[str, object], title: str = "") -> str:
    """The text of a rig's file with some keys changed, and the others marked as its.

    Parameters
    ----------
    name_or_path : str
        Of a rig.
    changes : mapping
        Values by section and key, ``"volume.resistance"``; None takes the
        section away.
    title : str
        Its new one; the old one stays if empty.

    Raises
    ------
    InputError
        If there is no such rig, or its file has an error.
    """
    find_rig(name_or_path)
    document = tomlkit.parse(read_text(built_in_rigs().get(name_or_path, Path(name_or_path))))
    for section, table in document.items():
        if isinstance(table, tomlkit.items.Table):
            for key in table:
                changed = f"{section}.{key}" in changes
                if not changed and not isinstance(table[key], tomlkit.items.Table):
                    table[key].comment(f"as {name_or_path} has it")
    for place_, value in changes.items():
        section, _, key = place_.partition(".")
        if value is None:
            document.pop(section, None)
            continue
        table = document.setdefault(section, tomlkit.table())
        if place_ == "cable.length":
            table.pop("length_m", None)
        table[key] = tomlkit.item(value)
    if title:
        document["title"] = title
    return tomlkit.dumps(document)


def read_rig(path: Path, *, as_given: bool = False) -> Rig:
    """Read a rig file.

    Parameters
    ----------
    path : Path
        A TOML file as described in ``docs/rig-format.md``.
    as_given : bool
        Whether values are taken that parts of their kind do not have.

    Returns
    -------
    Rig

    Raises
    ------
    InputError
        Naming file, section, key, the bad value and what is accepted.
    """
    return _rig_of(path, read_toml(path), as_given)


def check_rig_text(path: Path, text: str, *, as_given: bool = False) -> None:
    """Refuse the text of a rig file that is to be written, as `read_rig` would.

    Raises
    ------
    InputError
        If it is not a usable rig.
    """
    _rig_of(path, tomllib.loads(text), as_given)


def _rig_of(path: Path, table: dict[str, Any], as_given: bool) -> Rig:
    whole = Section(str(path), table, as_given)
    whole.only(
        "title", "pickup", "volume", "tone", "second", "cable", "input", "take", "dirt", "player"
    )
    for key in ("pickup", "volume"):
        if key not in whole.table:
            raise InputError(f"{path}: section [{key}] is missing")
    first = Channel(
        _checked(whole.sub("pickup"), _read_pickup),
        _checked(whole.sub("volume"), lambda s: _read_pot(s, path.parent, "volume pot", "wiring")),
        _optional(whole, "tone", lambda s: _read_tone(s, path.parent)),
    )
    second = _optional(whole, "second", lambda s: _read_second(s, path.parent))
    with place(str(path)):
        rig = Rig(
            (first,) if second is None else (first, second),
            _checked(whole.sub("cable"), _read_cable),
            _checked(whole.sub("input"), _read_load),
            Take("string"),
            _optional(whole, "dirt", _read_dirt),
            whole.sub("volume").choice("wiring", VOLUME_WIRINGS, "lug"),
            path.stem,
            whole.text("title", ""),
            _optional(whole, "player", _read_player) or Player(),
        )
        return replace(rig, take=_checked(whole.sub("take"), lambda s: _read_take(s, rig)))


def _checked(section: Section, read: Callable[[Section], Part]) -> Part:
    """Read a section; put its place before what the model objects to."""
    with place(section.where):
        return read(section)


def _optional(whole: Section, key: str, read: Callable[[Section], Part]) -> Part | None:
    """Read a section that may be absent."""
    return _checked(whole.sub(key), read) if key in whole.table else None


def _read_pickup(section: Section) -> Pickup:
    section.only("resistance", "inductance", "capacitance", "eddy", "leakage", "output")
    return Pickup(
        section.quantity("resistance", "ohm", kind="winding resistance"),
        section.quantity("inductance", "henry", kind="pickup inductance"),
        section.quantity("capacitance", "farad", 0.0, kind="winding capacitance"),
        section.optional_quantity("eddy", "ohm", kind="eddy resistance"),
        section.quantity("leakage", "henry", 0.0, kind="leakage inductance"),
        _read_output(section),
    )


def _read_output(section: Section) -> float:
    """Volts from millivolts, as a number or as text such as "250 mV"."""
    if "output" not in section.table:
        return TYPICAL_OUTPUT_VOLTS
    value = section.table["output"]
    text = str(value).removesuffix("mV").strip() if isinstance(value, str) else value
    try:
        millivolts = math.nan if isinstance(text, bool) else float(text)
    except (TypeError, ValueError):
        millivolts = math.nan
    if not math.isfinite(millivolts):
        raise InputError(f'output = {value!r} is not a value; write for example "250 mV"')
    return 1e-3 * millivolts


def _read_pot(section: Section, folder: Path, kind: Kind, *extra: str) -> Pot:
    section.only("resistance", "taper", "midpoint", *extra)
    with place(f"{section.where} resistance"):
        ohms, marked = read_pot_marking(section.required("resistance"))
    section.suiting("resistance", ohms, kind)
    return Pot(ohms, _read_taper(section, folder, marked))


def _read_taper(section: Section, folder: Path, marked: TaperKind | None) -> Taper:
    """The law by its key, or as marked on the pot; audio if neither says."""
    word = section.text("taper", marked or "audio")
    law = law_of(word)
    if law is not None:
        if marked not in (None, law) and not (marked == "audio" and law == "two-slope"):
            raise InputError(
                f"{section.where} taper = {word!r}: but resistance ="
                f" {section.table['resistance']!r} says {marked}; leave one of them out"
            )
        return Taper(law, section.number("midpoint", 0.15))
    file = folder / word
    if not word.lower().endswith(".csv"):
        raise InputError(
            f"{section.where} taper = {word!r}: must be one of {', '.join(NAMED_TAPERS)},"
            " or the path of a CSV file"
        )
    points = read_points(file, ("dial", "fraction"))
    with place(str(file)):
        return Taper("measured", points=tuple((dial, fraction) for dial, fraction in points))


def _read_tone(section: Section, folder: Path) -> Tone:
    pot = _read_pot(section, folder, "tone pot", "capacitance", "dial", "wiring")
    return Tone(
        pot,
        section.quantity("capacitance", "farad", kind="tone capacitor"),
        section.number("dial", 10.0),
        section.choice("wiring", TONE_WIRINGS, "modern"),
    )


def _read_second(section: Section, folder: Path) -> Channel:
    section.only("pickup", "volume", "tone", "dial", "design", "level_db")
    for key in ("pickup", "volume"):
        section.required(key)
    level_db = section.number("level_db", 0.0)
    if not -40 <= level_db <= 40:
        raise InputError(f"level_db = {level_db:g} must lie between -40 and 40")
    together = section.table.get("dial") == "together"
    design = section.text("design", "same")
    volume = _checked(section.sub("volume"), lambda s: _read_pot(s, folder, "volume pot"))
    return Channel(
        _checked(section.sub("pickup"), _read_pickup),
        volume,
        _optional(section, "tone", lambda s: _read_tone(s, folder)),
        "auditioned" if design == "same" else for_volume(resolve_design(design), volume).network,
        None if together else section.number("dial", 10.0),
        amplitude(level_db),
    )


def _read_cable(section: Section) -> float:
    section.only("length", "length_m", "picofarads_per_m", "capacitance")
    if "capacitance" in section.table:
        if len(section.table) > 1:
            raise InputError("give either capacitance, or length and picofarads_per_m")
        return section.quantity("capacitance", "farad", kind="cable capacitance")
    if not section.table:
        return 0.0
    if {"length", "length_m"} <= section.table.keys():
        raise InputError("give either length or length_m")
    key = "length" if "length" in section.table else "length_m"
    with place(f"{section.where} {key}"):
        length = read_length(section.required(key))
    per_metre = section.number("picofarads_per_m")
    for name, value in ((key, length), ("picofarads_per_m", per_metre)):
        if not 0 <= value <= 10_000:
            raise InputError(f"{name} = {value:g} must lie between 0 and 10000")
    section.suiting(key, length, "cable length")
    section.suiting("picofarads_per_m", per_metre, "cable capacitance a metre")
    return length * per_metre * _PICOFARAD


def _read_load(section: Section) -> Load:
    section.only("resistance", "capacitance")
    farads = section.quantity("capacitance", "farad", 0.0, kind="input capacitance")
    return Load(_read_input_ohms(section, "resistance"), farads)


def _read_input_ohms(section: Section, key: str) -> float:
    """A resistance, or infinity (TOML ``inf``, or absent) for no load at all."""
    if section.table.get(key, math.inf) == math.inf:
        return math.inf
    return section.quantity(key, "ohm", kind="input resistance")


def _read_take(section: Section, rig: Rig) -> Take:
    """How the take was made: as the rig stands, but for what the section changes."""
    section.only(
        "captured", "cable", "input_resistance", "input_capacitance", "volume_dial", "tone_dial",
        "design",
    )  # fmt: skip
    captured = section.choice("captured", CAPTURED, "jack")
    if captured == "string":
        if len(section.table) > 1:
            extra = next(key for key in section.table if key != "captured")
            raise InputError(f'{extra} describes a jack take, but captured = "string"')
        return Take("string")
    load = rig.load
    if "input_resistance" in section.table:
        load = replace(load, resistance_ohms=_read_input_ohms(section, "input_resistance"))
    if "input_capacitance" in section.table:
        load = replace(
            load,
            capacitance_farads=section.quantity(
                "input_capacitance", "farad", kind="input capacitance"
            ),
        )
    first = rig.first
    tone_dial = section.optional_number("tone_dial")
    if tone_dial is not None:
        if first.tone is None:
            raise InputError("tone_dial is given for the take, but the rig has no [tone]")
        require_dial("tone_dial", tone_dial)
        first = replace(first, tone=replace(first.tone, dial=tone_dial))
    stood = replace(
        rig.with_first(first),
        cable_farads=section.quantity("cable", "farad", rig.cable_farads, kind="cable capacitance"),
        load=load,
        dirt=None,
    )
    design = for_volume(resolve_design(section.text("design", "bare")), first.volume)
    return Take(captured, stood, section.number("volume_dial", 10.0), design.network)


def _read_player(section: Section) -> Player:
    section.only("plays", "dials")
    dials = section.table.get("dials")
    if dials is not None and (
        not isinstance(dials, list)
        or not all(isinstance(d, int | float) and not isinstance(d, bool) for d in dials)
    ):
        raise InputError(f"dials = {dials!r} must be a list of dial positions, such as [8, 6]")
    plays = section.choice("plays", PLAYING, "rolls-back")
    return Player(plays, None if dials is None else tuple(float(dial) for dial in dials))


def _read_dirt(section: Section) -> AnyDirt:
    section.required("kind")
    if section.table["kind"] == "fuzz":
        raise InputError(f"kind = {FUZZ_WAS_RENAMED}")
    kind = section.choice("kind", ANY_KINDS, "smooth")
    return _read_curve(section, kind) if kind in DIRT_KINDS else _read_stage(section, kind)


def _read_curve(section: Section, kind: AnyKind) -> Dirt:
    section.only("kind", "drive", "pre_hz", "post_hz", "level_db")
    plain = Dirt()
    return Dirt(
        kind,  # type: ignore[arg-type]
        section.number("drive", plain.drive_db),
        section.number("pre_hz", plain.pre_hz),
        section.number("post_hz", plain.post_hz),
        section.number("level_db", plain.level_db),
    )


# What each circuit's own knob is called; the booster has none.
_CONTROLS = {"germanium-fuzz": "fuzz", "silicon-fuzz": "fuzz", "diode-clipper": "gain"}


def _read_stage(section: Section, kind: AnyKind) -> Stage:
    control = _CONTROLS.get(kind)
    active = () if kind == "diode-clipper" else ("bias", "supply", "battery")
    section.only("kind", *([control] if control else []), *active, "touch_db", "level_db")
    plain = Stage()
    return Stage(
        kind,  # type: ignore[arg-type]
        section.number(control, plain.control) if control else plain.control,
        section.number("bias", plain.bias),
        section.number("supply", plain.supply_volts),
        section.quantity("battery", "ohm", plain.battery_ohms),
        section.number("touch_db", plain.touch_db),
        section.number("level_db", plain.level_db),
    )
