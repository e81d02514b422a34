"""Designs as the user names them: built in, as an expression, or in a TOML file."""

from pathlib import Path

from presolder.models.errors import InputError, place
from presolder.models.instrument.built_in import BUILT_IN, built_in
from presolder.models.instrument.expression import make_gang, parse_expression
from presolder.models.instrument.network import (
    DEEPEST_NESTING,
    Capacitor,
    Design,
    Network,
    Parallel,
    Resistor,
    Series,
    format_network,
    join,
)
from presolder.models.instrument.quantities import parse_quantity
from presolder.render.files.toml import Section, nearest, read_toml

_KINDS = ("series", "parallel", "resistor", "capacitor", "gang")
MOST_DESIGNS = 64


def resolve_design(text: str) -> Design:
    """Turn a command-line argument into a design.

    Parameters
    ----------
    text : str
        A built-in name or a network expression.

    Raises
    ------
    InputError
        If it is neither.
    """
    known = built_in(text.strip())
    if known is not None:
        return known
    if text.strip() and not any(character.isdigit() for character in text):
        names = [design.name for design in BUILT_IN]
        raise InputError(
            f"design {text!r} is not built in (nearest: {nearest(text, names)}; 'presolder"
            " designs' lists them) and not an expression such as '91k || 820p'"
        )
    with place("design"):
        network = parse_expression(text)
    return Design(format_network(network), network)


def read_designs(path: Path) -> tuple[Design, ...]:
    """Read the ``[[design]]`` tables of a TOML file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    tuple of Design
        In file order, names distinct.

    Raises
    ------
    InputError
        Naming file, design and key.
    """
    whole = Section(str(path), read_toml(path))
    whole.only("design")
    tables = whole.required("design")
    if not isinstance(tables, list) or not tables:
        raise InputError(f"{path}: design must be one or more [[design]] tables")
    if len(tables) > MOST_DESIGNS:
        raise InputError(f"{path}: {len(tables)} designs; at most {MOST_DESIGNS} are accepted")
    designs: list[Design] = []
    for number, table in enumerate(tables, start=1):
        where = f"{path}: [[design]] {number}"
        if not isinstance(table, dict):
            raise InputError(f"{where}: must be a table")
        design = _read_design(Section(where, table))
        if design.name in (other.name for other in designs):
            raise InputError(f"{where} name = {design.name!r}: used twice")
        designs.append(design)
    return tuple(designs)


def _read_design(section: Section) -> Design:
    section.only("name", "title", "network")
    section.required("name")
    name = section.text("name", "").strip()
    if not name or len(name) > 80 or not name.isprintable():
        raise InputError(f"{section.where} name = {name!r}: must be 1 to 80 printable characters")
    with place(f"{section.where} network"):
        network = _network(section.required("network"), 0)
    return Design(name, network, section.title())


def _network(value: object, depth: int) -> Network | None:
    if value == "bare" and depth == 0:
        return None
    if depth > DEEPEST_NESTING:
        raise InputError(f"nested more than {DEEPEST_NESTING} deep")
    if isinstance(value, str):
        return parse_expression(value)
    if not isinstance(value, dict):
        raise InputError(f"{value!r} is not an expression in quotes or a table")
    kinds = [kind for kind in _KINDS if kind in value]
    if len(kinds) != 1:
        raise InputError(f"a table must have exactly one of {', '.join(_KINDS)}")
    kind = kinds[0]
    section = Section(kind, value)
    if kind == "gang":
        section.only("gang", "taper", "at_ten", "midpoint")
        options = {key: value[key] for key in ("taper", "at_ten", "midpoint") if key in value}
        return make_gang(value["gang"], **options)
    section.only(kind)
    if kind == "resistor":
        return Resistor(parse_quantity(value[kind], "ohm"))
    if kind == "capacitor":
        return Capacitor(parse_quantity(value[kind], "farad"))
    if not isinstance(value[kind], list):
        raise InputError(f"{kind} must be a list of parts")
    parts = [_network(part, depth + 1) for part in value[kind]]
    return join(Series if kind == "series" else Parallel, [part for part in parts if part])
