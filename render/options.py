"""Options that several commands share, and how their texts are read."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Literal

import click
import numpy as np
from numpy.typing import NDArray

from presolder.models.designs import BUILT_IN
from presolder.models.errors import InputError, within
from presolder.models.network import Design
from presolder.models.rig import DIRT_KINDS, Dirt, DirtKind, Rig, require_dial
from presolder.render.designfile import read_designs, resolve_design
from presolder.render.rigfile import DEFAULT_RIG

LISTENING_CAUTION = (
    "Start playback quiet and raise it slowly: designs differ in level,"
    " and loud sound harms hearing."
)


def rig_option(function: Callable[..., None]) -> Callable[..., None]:
    """``--rig``."""
    return click.option(
        "--rig",
        "rig_name",
        default=DEFAULT_RIG,
        show_default=True,
        help="Rig file or built-in name.",
    )(function)


def design_options(function: Callable[..., None]) -> Callable[..., None]:
    """``--design`` and ``--designs``."""
    function = click.option(
        "--designs",
        "designs_file",
        type=click.Path(path_type=Path),
        help="TOML file with [[design]] tables.",
    )(function)
    return click.option(
        "--design",
        "design_names",
        multiple=True,
        help="Built-in name or expression like '91k || 820p'; repeatable. Default: all built in.",
    )(function)


def output_options(function: Callable[..., None]) -> Callable[..., None]:
    """``--out`` and ``--force`` of commands that write a folder."""
    function = click.option("--force", is_flag=True, help="Write into a folder that has files.")(
        function
    )
    return click.option(
        "--out", type=click.Path(path_type=Path), required=True, help="Folder to make."
    )(function)


def plot_options(function: Callable[..., None]) -> Callable[..., None]:
    """``--plot`` and ``--force`` of commands that write single files."""
    function = click.option("--force", is_flag=True, help="Replace existing files.")(function)
    return click.option(
        "--plot", "plot_file", type=click.Path(path_type=Path), help="Draw a PNG or SVG."
    )(function)


def json_option(function: Callable[..., None]) -> Callable[..., None]:
    """``--json``."""
    return click.option(
        "--json", "as_json_text", is_flag=True, help="Numbers for programs; see docs/json.md."
    )(function)


def stage_options(function: Callable[..., None]) -> Callable[..., None]:
    """``--dirt``, ``--drive``, ``--speaker`` and ``--hum-db``."""
    for option in (
        click.option(
            "--hum-db", type=float, help="Add hum and hiss, dB re the take's loudest second."
        ),
        click.option("--speaker", help="'plain', or an impulse response WAV."),
        drive_option,
        dirt_option,
    ):
        function = option(function)
    return function


def dirt_option(function: Callable[..., None]) -> Callable[..., None]:
    """``--dirt``."""
    return click.option(
        "--dirt",
        "dirt_kind",
        type=click.Choice([*DIRT_KINDS, "none"]),
        help="Clipping stage after the chain; default: the rig's.",
    )(function)


def drive_option(function: Callable[..., None]) -> Callable[..., None]:
    """``--drive``."""
    return click.option(
        "--drive", type=float, help="dB by which the loudest second passes the knee. [default: 20]"
    )(function)


def choose_dirt(
    rig: Rig, kind: DirtKind | Literal["none"] | None, drive: float | None
) -> Dirt | None:
    """The clipping stage from the options, or else the rig's own."""
    if kind == "none":
        dirt = None
    elif kind is None or (rig.dirt is not None and kind == rig.dirt.kind):
        dirt = rig.dirt
    else:
        dirt = Dirt(kind)
    if drive is None:
        return dirt
    if dirt is None:
        raise InputError(f"--drive {drive:g} needs a --dirt kind; one of {', '.join(DIRT_KINDS)}")
    try:
        return replace(dirt, drive_db=drive)
    except InputError as error:
        raise within(error, "--drive") from None


def gather_designs(names: tuple[str, ...], file: Path | None) -> tuple[Design, ...]:
    """The designs asked for, or every built-in one."""
    designs = [resolve_design(name) for name in names]
    if file is not None:
        designs += read_designs(file)
    seen: list[str] = []
    for design in designs:
        if design.name in seen:
            raise InputError(f"--design {design.name!r} is given twice")
        seen.append(design.name)
    return tuple(designs) or BUILT_IN


@contextmanager
def progress_on_terminal(label: str, length: int) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error, silent when that is not a terminal."""
    with click.progressbar(
        length=length, label=label, file=sys.stderr, hidden=not sys.stderr.isatty()
    ) as bar:
        yield bar.update


def parse_numbers(option: str, text: str) -> NDArray[np.float64]:
    """Read comma-separated numbers."""
    try:
        numbers = np.array([float(word) for word in text.split(",")])
    except ValueError:
        raise InputError(f"{option} {text!r} must be numbers separated by commas") from None
    if not np.all(np.isfinite(numbers)) or numbers.size > 10_000:
        raise InputError(f"{option} {text!r} must be at most 10,000 finite numbers")
    return numbers


def parse_dials(text: str) -> NDArray[np.float64]:
    """Read comma-separated dial positions."""
    dials = parse_numbers("--dial", text)
    for dial in dials:
        require_dial("--dial", dial)
    return dials


def parse_frequencies(text: str) -> NDArray[np.float64]:
    """Read a frequency list, or ``first:last:count``."""
    if ":" in text:
        words = text.split(":")
        try:
            first, last, count = float(words[0]), float(words[1]), int(words[2])
            valid = len(words) == 3 and 0 < first < last < 1e9 and 2 <= count <= 10_000
        except (ValueError, IndexError):
            valid = False
        if not valid:
            raise InputError(
                f"--frequency {text!r} must be first:last:count with 0 < first < last"
                " and a count of 2 to 10000"
            )
        return np.geomspace(first, last, count)
    frequency_hz = parse_numbers("--frequency", text)
    if np.any(frequency_hz <= 0) or np.any(frequency_hz >= 1e9):
        raise InputError(f"--frequency {text!r} must be above 0 and below 1 GHz")
    return frequency_hz
