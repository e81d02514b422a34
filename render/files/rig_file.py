"""Rigs as the user names them: built in, or a TOML file."""

from collections.abc import Mapping
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

from presolder.models.errors import InputError, place
from presolder.models.instrument.built_in import for_rig
from presolder.models.instrument.instrument import Instrument, Situation
from presolder.models.instrument.player import PLAYING, Player
from presolder.models.instrument.rig import CAPTURED, Capture, Rig
from presolder.models.instrument.string import String
from presolder.render.files.designs import resolve_design
from presolder.render.files.dirt import read_dirt
from presolder.render.files.parts import changed_load, checked, optional, read_place
from presolder.render.files.standard import STANDARD
from presolder.render.files.toml import Section, nearest, parse_toml, read_text, read_toml
from presolder.render.files.wiring import WIRING_SECTIONS, read_stands, read_wiring

DEFAULT_RIG = "humbucker-500k"
# In the folder of a job.
RIG_FILE = "rig.toml"


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
    return _found(name_or_path, as_given)[0].rig


def _found(name_or_path: str, as_given: bool) -> tuple[Situation, ...]:
    known = built_in_rigs()
    if name_or_path in known:
        return read_situations(known[name_or_path])
    path = Path(name_or_path)
    named = path != STANDARD and path.suffix != ".toml" and path.name == name_or_path
    if named and not path.exists():
        raise InputError(
            f"rig {name_or_path!r} is neither a file nor built in; nearest:"
            f" {nearest(name_or_path, known)}; one of {', '.join(known)}"
        )
    if (path / RIG_FILE).is_file():
        path = path / RIG_FILE
    return read_situations(path, as_given=as_given)


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
        Its new one; if empty, the old one, which is said to be no more than that where
        something changes.

    Raises
    ------
    InputError
        If there is no such rig, or its file has an error.
    """
    # Here, so that only changed rigs wait for the library.
    import tomlkit  # noqa: PLC0415

    find_rig(name_or_path)
    document = tomlkit.parse(read_text(built_in_rigs().get(name_or_path, Path(name_or_path))))
    for section, table in document.items():
        if isinstance(table, tomlkit.items.Table):
            for key in table:
                changed = f"{section}.{key}" in changes
                # A true or false cannot be remarked on.
                written = table[key]
                is_value = isinstance(written, tomlkit.items.Item)
                if is_value and not changed and not isinstance(written, tomlkit.items.Table):
                    written.comment(f"as {name_or_path} has it")
    for place_ in changes:
        section = place_.partition(".")[0]
        if f"{section}s" in document and section not in document:
            raise InputError(
                f"{name_or_path} has several {section}s, so {place_} says too little; copy it"
                f" without and edit [{section}s]"
            )
    text = changed_text(tomlkit.dumps(document), changes)
    if not (title or changes):
        return text
    called = title or f"like {name_or_path}, but for {_listed(changes)}"
    return changed_text(text, {"title": called})


def changed_text(text: str, changes: Mapping[str, object]) -> str:
    """The text of a rig file with some keys changed, and all else as it was.

    Parameters
    ----------
    text : str
    changes : mapping
        Values by tables and key, ``"volume.resistance"`` or ``"pickups.neck.inductance"``, or
        items of the library with a comment; None takes the table, or the key, away.
    """
    import tomlkit  # noqa: PLC0415

    document = tomlkit.parse(text)
    for place_, value in changes.items():
        *sections, key = place_.split(".")
        table: Any = document
        if value is None:
            for section in sections:
                table = table.get(section, {})
            table.pop(key, None)
            continue
        for section in sections:
            table = table.setdefault(section, tomlkit.table())
        if place_ == "cable.length":
            table.pop("length_m", None)
        made: Any = tomlkit.item(value)
        said = made.trivia.comment
        table[key] = made
        # What was remarked of the old value is not true of the new one.
        table[key].trivia.comment = said
    return tomlkit.dumps(document)


def _listed(changes: Mapping[str, object]) -> str:
    return ", ".join(key.replace(".", " ").replace("_", " ") for key in changes)


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
    return read_situations(path, as_given=as_given)[0].rig


def read_rig_text(path: Path, text: str, *, as_given: bool = False) -> tuple[Situation, ...]:
    """The situations of a rig file that is to be written.

    Raises
    ------
    InputError
        If it is not a usable rig.
    """
    return _situations_of(path, parse_toml(path, text), as_given)


def read_situations(path: Path, *, as_given: bool = False) -> tuple[Situation, ...]:
    """Read a rig file's situations: as listed, or one for each position of its switch.

    Parameters and errors are those of `read_rig`; each rig keeps the take that
    the file describes.
    """
    return _situations_of(path, read_toml(path), as_given)


def find_situations(name_or_path: str, *, as_given: bool = False) -> tuple[Situation, ...]:
    """As `read_situations`, by built-in name or file path."""
    return _found(name_or_path, as_given)


def _situations_of(path: Path, table: dict[str, Any], as_given: bool) -> tuple[Situation, ...]:
    whole = Section(str(path), table, as_given)
    whole.only(*WIRING_SECTIONS, "take", "dirt", "player", "situations", "strings")
    with place(str(path)):
        instrument = replace(
            read_wiring(whole, path),
            player=optional(whole, "player", _read_player) or Player(),
        )
        rig = replace(
            instrument.at(next(iter(instrument.positions))),
            dirt=optional(whole, "dirt", lambda s: read_dirt(s, path.parent)),
        )
        scale = optional(whole, "strings", _read_scale)
        take = checked(whole.sub("take"), lambda s: _read_take(s, instrument, rig, scale))
    return read_stands(whole, instrument, rig, take, path.parent)


def _read_take(section: Section, instrument: Instrument, rig: Rig, scale: float | None) -> Capture:
    """How the take was made: as the rig stands, but for what the section changes."""
    section.only(
        "captured", "switch", "cable", "input_resistance", "input_capacitance", "volume_dial",
        "tone_dial", "design", "open_string", "from_bridge",
    )  # fmt: skip
    captured = section.choice("captured", CAPTURED, "jack")
    string = None
    if "open_string" in section.table:
        if scale is None:
            raise InputError("open_string needs the scale of the guitar, as [strings] scale")
        string = String(section.number("open_string"), scale)
    if captured == "string":
        for extra in section.table:
            if extra not in ("captured", "open_string", "from_bridge"):
                raise InputError(f'{extra} describes a jack take, but captured = "string"')
        if ("from_bridge" in section.table) != (string is not None):
            raise InputError(
                "a string take on one string needs both open_string and from_bridge, where its"
                " pickup sat"
            )
        return Capture(
            "string", string=string, string_place_metres=read_place(section, "from_bridge")
        )
    if "from_bridge" in section.table:
        raise InputError('from_bridge describes a string take, but captured = "jack"')
    load = changed_load(section, rig.load)
    tone_dial = section.optional_number("tone_dial")
    if tone_dial is not None:
        instrument = instrument.with_tone_at(tone_dial)
    if {"switch", "tone_dial"} & section.table.keys():
        rig = instrument.at(section.text("switch", next(iter(instrument.positions))))
    stood = replace(
        rig,
        cable_farads=section.quantity("cable", "farad", rig.cable_farads, kind="cable capacitance"),
        load=load,
        dirt=None,
        take=Capture("string", string=string),
    )
    design = for_rig(resolve_design(section.text("design", "bare")), rig)
    dial = section.number("volume_dial", 10.0)
    return Capture(captured, stood, dial, design.network, string)


def _read_scale(section: Section) -> float:
    """The length of the strings in metres."""
    section.only("scale")
    section.required("scale")
    found = read_place(section, "scale")
    assert found is not None
    return found


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
