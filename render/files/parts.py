"""The parts of a guitar as sections of a rig file have them."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import (
    TONE_WIRINGS,
    TYPICAL_OUTPUT_VOLTS,
    Load,
    Pickup,
    Pot,
    Tone,
)
from presolder.models.instrument.law import NAMED_TAPERS, Taper, TaperKind
from presolder.models.instrument.markings import law_of, read_length, read_pot_marking
from presolder.models.instrument.plausible import Kind
from presolder.models.instrument.source import Piezo
from presolder.models.instrument.starter import USUAL_PICOFARADS_PER_M
from presolder.render.files.points import read_points
from presolder.render.files.toml import Section

_PICOFARAD = 1e-12
Part = TypeVar("Part")


def checked(section: Section, read: Callable[[Section], Part]) -> Part:
    """Read a section; put its place before what the model objects to."""
    with place(section.where):
        return read(section)


def optional(whole: Section, key: str, read: Callable[[Section], Part]) -> Part | None:
    """Read a section that may be absent."""
    return checked(whole.sub(key), read) if key in whole.table else None


def read_pickup(section: Section) -> Pickup:
    """A coil."""
    section.only(
        "resistance", "inductance", "capacitance", "eddy", "leakage", "output", "from_bridge"
    )  # fmt: skip
    return Pickup(
        section.quantity("resistance", "ohm", kind="winding resistance"),
        section.quantity("inductance", "henry", kind="pickup inductance"),
        section.quantity("capacitance", "farad", 0.0, kind="winding capacitance"),
        section.optional_quantity("eddy", "ohm", kind="eddy resistance"),
        section.quantity("leakage", "henry", 0.0, kind="leakage inductance"),
        section.quantity("output", "volt", TYPICAL_OUTPUT_VOLTS),
        read_place(section, "from_bridge"),
    )


def read_place(section: Section, key: str) -> float | None:
    """A length along the strings in metres; None if it is not there."""
    if key not in section.table:
        return None
    with place(key):
        return read_length(section.table[key])


def read_piezo(section: Section) -> Piezo:
    """A piezo, ``kind = "piezo"``."""
    section.only("kind", "capacitance", "resistance", "output")
    section.choice("kind", ("piezo",), "piezo")
    return Piezo(
        section.quantity("capacitance", "farad"),
        section.optional_quantity("resistance", "ohm"),
        section.quantity("output", "volt", TYPICAL_OUTPUT_VOLTS),
    )


def read_pot(section: Section, folder: Path, kind: Kind, *extra: str) -> Pot:
    """A pot; `extra` keys are read elsewhere."""
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


def read_tone(section: Section, folder: Path) -> Tone:
    """A tone control."""
    pot = read_pot(section, folder, "tone pot", "capacitance", "dial", "wiring", "no_load")
    return Tone(
        pot,
        section.quantity("capacitance", "farad", kind="tone capacitor"),
        section.number("dial", 10.0),
        section.choice("wiring", TONE_WIRINGS, "modern"),
        section.flag("no_load"),
    )


def read_cable(section: Section) -> float:
    """Farads of a whole cable."""
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
    per_metre = section.number("picofarads_per_m", USUAL_PICOFARADS_PER_M)
    for name, value in ((key, length), ("picofarads_per_m", per_metre)):
        if not 0 <= value <= 10_000:
            raise InputError(f"{name} = {value:g} must lie between 0 and 10000")
    section.suiting(key, length, "cable length")
    section.suiting("picofarads_per_m", per_metre, "cable capacitance a metre")
    return length * per_metre * _PICOFARAD


def read_load(section: Section) -> Load:
    """What the cable feeds."""
    section.only("resistance", "capacitance")
    farads = section.quantity("capacitance", "farad", 0.0, kind="input capacitance")
    return Load(read_input_ohms(section, "resistance"), farads)


def read_input_ohms(section: Section, key: str) -> float:
    """A resistance, or infinity (TOML ``inf``, or absent) for no load at all."""
    if section.table.get(key, math.inf) == math.inf:
        return math.inf
    return section.quantity(key, "ohm", kind="input resistance")


def changed_load(section: Section, load: Load) -> Load:
    """An input with what a section says otherwise of it."""
    if "input_resistance" in section.table:
        load = replace(load, resistance_ohms=read_input_ohms(section, "input_resistance"))
    if "input_capacitance" in section.table:
        farads = section.quantity("input_capacitance", "farad", kind="input capacitance")
        load = replace(load, capacitance_farads=farads)
    return load
