"""Options that several commands share, and how their texts are read."""

import math
import warnings
from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Any, Literal

import click
import numpy as np

from presolder.models.audio.stairs import DIALS, PHRASE_SECONDS
from presolder.models.audio.voicing import require_hum
from presolder.models.errors import ImplausibleValueError, InputError, OddValueWarning, place
from presolder.models.instrument.controls import require_dial
from presolder.models.instrument.designs import built_in_designs, for_volume
from presolder.models.instrument.dirt import (
    ANY_KINDS,
    DIRT_KINDS,
    AnyDirt,
    AnyKind,
    Dirt,
    dirt_of,
)
from presolder.models.instrument.instrument import Situation, find_situation
from presolder.models.instrument.network import Design
from presolder.models.instrument.plausible import oddities
from presolder.models.instrument.player import PLAYING, Playing
from presolder.models.instrument.quantities import Unit, parse_quantity, require_component
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import STAGE_KINDS, Stage
from presolder.models.judging.ear import (
    LISTENING_LEVEL_DB,
    LOUDEST_LEVEL_DB,
    QUIETEST_LEVEL_DB,
)
from presolder.models.typing import Array
from presolder.render.commands.completion import (
    complete_designs,
    complete_rigs,
    complete_situations,
)
from presolder.render.commands.remarks import remark
from presolder.render.files.audio import read_recording
from presolder.render.files.default_rig import default_rig
from presolder.render.files.designs import MOST_DESIGNS, read_designs, resolve_design
from presolder.render.files.dirt import FUZZ_WAS_RENAMED
from presolder.render.files.rigs import DEFAULT_RIG, find_situations
from presolder.render.files.standard import STANDARD

Command = Callable[..., None]
PLOT_ENDINGS = (".png", ".svg")
_WEIGHT_WORDS = {"taper": 0.0, "tone": 1.0}
_MOST_NUMBERS = 10_000
# Where a call of the command line keeps whether the user insists.
_AS_GIVEN = "presolder.as_given"


def rig_option(function: Command) -> Command:
    """``--rig``, ``--in`` and ``--as-given``; the command gets the rig in one situation, `rig`."""

    def given(situations: tuple[Situation, ...]) -> dict[str, object]:
        return {"rig": situations[0].rig}

    return _with_rig(function, given, "the first is taken")


def situations_option(function: Command) -> Command:
    """The same; the command gets all situations that are meant, as `situations`."""
    return _with_rig(
        function, lambda situations: {"situations": situations}, "all are taken; repeatable"
    )


def _with_rig(
    function: Command, given: Callable[[tuple[Situation, ...]], dict[str, object]], unless: str
) -> Command:
    @wraps(function)
    def found(
        *args: object, rig_names: tuple[str, ...], as_given: bool, meant_in: tuple[str, ...],
        **others: object,
    ) -> None:  # fmt: skip
        click.get_current_context().meta[_AS_GIVEN] = as_given
        if len(rig_names) > 1:
            named = " and ".join(rig_names)
            raise InputError(f"--rig is given {len(rig_names)} times, {named}; give one")
        meant = None if rig_names else default_rig()
        name = rig_names[0] if meant is None else meant.name
        ended = None
        try:
            situations = find_situations(name, as_given=as_given)
            if meant_in:
                with place("--in"):
                    situations = _meant(situations, meant_in, one="rig" in given(situations))
            function(*args, **given(situations), **others)
        except click.exceptions.Exit as end:
            ended = end
        except ImplausibleValueError as error:
            raise InputError(f"{error} (--as-given insists)") from None
        if meant is not None:
            # Afterwards, so that an error stays one line.
            remark(f"presolder: rig {meant.name}, {meant.because} (see --rig)")
        if len(situations) > 1 and "rig" in given(situations):
            remark(
                f"presolder: situation {situations[0].name!r}, the first of {len(situations)}"
                " (see --in)"
            )
        if ended is not None:
            raise ended

    return _naming_a_rig(found, unless)


def _meant(
    situations: tuple[Situation, ...], names: tuple[str, ...], *, one: bool
) -> tuple[Situation, ...]:
    """The situations that are named, in that order."""
    if one and len(names) > 1:
        raise InputError(f"is given {len(names)} times; give one here")
    if len(set(names)) < len(names):
        raise InputError("names a situation twice")
    return tuple(find_situation(situations, name) for name in names)


def _naming_a_rig(command: Command, unless: str) -> Command:
    for option in (
        click.option(
            "--as-given", is_flag=True,
            help="Take values that no such part has, and do not remark on odd ones.",
        ),
        click.option(
            "--in", "meant_in", multiple=True, metavar="SITUATION",
            shell_complete=complete_situations,
            help=f"Take this situation of the rig, or switch position; without it {unless}.",
        ),
        click.option(
            "--rig", "rig_names", multiple=True, metavar="RIG", shell_complete=complete_rigs,
            help="Use this rig: a file, - for standard input, or a built-in name."
            " [default: PRESOLDER_RIG, your own"
            f" ('init --own'), or {DEFAULT_RIG}]",
        ),
    ):  # fmt: skip
        command = option(command)
    return command


def given_design(text: str) -> Design:
    """A design from an option, its values plausible.

    Raises
    ------
    InputError
        If it cannot be used, or a value cannot be meant.
    """
    design = resolve_design(text)
    _require_plausible(design)
    return design


def _require_plausible(design: Design) -> None:
    if click.get_current_context().meta.get(_AS_GIVEN):
        return
    with place(f"design {design.name!r}"):
        for odd in oddities(design.network):
            warnings.warn(OddValueWarning(f"design {design.name!r}: {odd}"), stacklevel=2)


def design_options(function: Command) -> Command:
    """``--design`` and ``--designs``."""
    function = click.option(
        "--designs",
        "designs_file",
        type=click.Path(path_type=Path),
        help="Take the designs of this TOML file with [[design]] tables; - is standard input.",
    )(function)
    return click.option(
        "--design",
        "design_names",
        multiple=True,
        shell_complete=complete_designs,
        help="Take this design, a built-in name or an expression like '91k || 820p';"
        " repeatable. [default: built-in ones]",
    )(function)


def take_options(function: Command) -> Command:
    """The recording, and which part of it to use."""
    for option in (
        click.option("--end", type=float, help="End at this second of the recording."),
        click.option("--start", type=float, help="Start at this second of the recording."),
        click.argument("di", type=click.Path(path_type=Path)),
    ):
        function = option(function)
    return function


def comparing_options(function: Command) -> Command:
    """Stairs and A/B recordings, gathered into one argument ``comparing``.

    It has the arguments of the face's listening functions by name.
    """

    @wraps(function)
    def gathered(
        *args: object,
        stairs: bool,
        beside_bare: bool,
        stair_dials: str,
        phrase_s: float,
        **others: object,
    ) -> None:
        comparing: dict[str, Any] = {
            "stairs": stairs,
            "beside_bare": beside_bare,
            "stair_dials": read_turned_dials(stair_dials, "--stair-dials").tolist(),
            "phrase_s": phrase_s,
        }
        function(*args, comparing=comparing, **others)

    command: Command = gathered
    for option in (
        click.option(
            "--phrase", "phrase_s", type=float, default=PHRASE_SECONDS, show_default=True,
            help="Use so many seconds of the take for stairs and A/B recordings.",
        ),
        click.option(
            "--stair-dials", default=",".join(f"{dial:g}" for dial in DIALS), show_default=True,
            help="Use these dials for stairs and A/B recordings, by commas.",
        ),
        click.option(
            "--ab", "beside_bare", is_flag=True,
            help="Also make bare, design, bare at each dial, at true and at matched loudness.",
        ),
        click.option(
            "--stairs", is_flag=True, help="Also make the phrase at one dial after the other."
        ),
    ):  # fmt: skip
        command = option(command)
    return command


def output_options(place: str) -> Callable[[Command], Command]:
    """``--out`` and ``--force`` of commands that write a folder.

    Parameters
    ----------
    place : str
        What ``--out`` makes, as a sentence without its stop.
    """

    def given(function: Command) -> Command:
        function = click.option(
            "--force", is_flag=True,
            help="Write into a folder that has files, and replace what an earlier run wrote.",
        )(function)  # fmt: skip
        return click.option(
            "--out", type=click.Path(path_type=Path), help=f"{place}. [default: named by the take]"
        )(function)

    return given


def plot_options(function: Command) -> Command:
    """``--plot`` and ``--force`` of commands that write single files."""
    function = click.option("--force", is_flag=True, help="Replace files that exist.")(function)
    return click.option(
        "--plot",
        "plot_file",
        type=click.Path(path_type=Path),
        help="Draw into this PNG or SVG file; - is an SVG to standard output.",
    )(function)


def json_option(function: Command) -> Command:
    """``--json``."""
    return click.option(
        "--json",
        "as_json",
        is_flag=True,
        help="Print numbers for programs ('presolder docs json' describes them).",
    )(function)


def stage_options(function: Command) -> Command:
    """``--dirt``, ``--drive``, ``--touch``, ``--speaker`` and ``--hum-db``."""
    for option in (
        hum_option,
        speaker_option,
        touch_option,
        drive_option,
        dirt_option,
    ):
        function = option(function)
    return function


def hum_option(function: Command) -> Command:
    """``--hum-db``."""
    return click.option(
        "--hum-db",
        type=float,
        help="Add hum and hiss at this level, dB re the take's loudest second.",
    )(function)


def speaker_option(function: Command) -> Command:
    """``--speaker``."""
    return click.option(
        "--speaker",
        help="Play through a loudspeaker: 'plain', or an impulse response as a WAV file.",
    )(function)


class _DirtChoice(click.Choice[str]):
    """Kinds of dirt, with a word for whoever used an old name."""

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> str:
        if value == "fuzz":
            raise InputError(f"--dirt {FUZZ_WAS_RENAMED}")
        return super().convert(value, param, ctx)


def dirt_option(function: Command) -> Command:
    """``--dirt``."""
    return click.option(
        "--dirt",
        "dirt_kind",
        type=_DirtChoice([*ANY_KINDS, "none"]),
        help="Put a clipping curve after the chain, or a circuit. [default: the rig's]",
    )(function)


def touch_option(function: Command) -> Command:
    """``--touch``."""
    return click.option(
        "--touch", type=float,
        help="Play a circuit so many dB harder than the pickup's output, or below 0 softer.",
    )(function)  # fmt: skip


def drive_option(function: Command) -> Command:
    """``--drive``."""
    return click.option(
        "--drive",
        type=float,
        help="Drive a curve so that the loudest second passes its knee by so many dB."
        " [default: 20]",
    )(function)


def judging_options(function: Command) -> Command:
    """What designs are judged by, gathered into one argument ``judged``.

    It has the arguments of the face's judging functions by name.
    """

    @wraps(function)
    def gathered(
        *args: object,
        plays: Playing | None,
        dial_list: str | None,
        keep: str | None,
        take_file: Path | None,
        listening_level: float,
        **others: object,
    ) -> None:
        judged: dict[str, Any] = {
            "plays": plays,
            "tone_weight": None if keep is None else read_preference(keep),
            "take": None if take_file is None else read_recording(take_file),
            "listening_level": listening_level,
        }
        judged["dials"] = None if dial_list is None else read_turned_dials(dial_list)
        if not QUIETEST_LEVEL_DB <= listening_level <= LOUDEST_LEVEL_DB:
            raise InputError(
                f"--listening-level {listening_level:g} must lie between"
                f" {QUIETEST_LEVEL_DB:g} and {LOUDEST_LEVEL_DB:g} dB"
            )
        function(*args, judged=judged, **others)

    command: Command = gathered
    for option in (
        click.option(
            "--listening-level", type=float, default=LISTENING_LEVEL_DB, show_default=True,
            help="Judge at this level of the take's loudest second at 10, dB SPL.",
        ),
        click.option(
            "--take", "take_file", type=click.Path(path_type=Path),
            help="Judge by this recording; - is standard input. [default: a bundled one]",
        ),
        click.option(
            "--keep", help="Say what matters: taper, tone, or the tone's weight from 0 to 1."
        ),
        click.option(
            "--dial", "dial_list",
            help="Say at which dials the knob is left, by commas. [default: by --plays]",
        ),
        click.option(
            "--plays", type=click.Choice(PLAYING),
            help="Say what the knob is used for. [default: the rig's, or rolls-back]",
        ),
    ):  # fmt: skip
        command = option(command)
    return command


def read_preference(keep: str) -> float:
    """The tone's weight from ``taper``, ``tone`` or a number.

    Raises
    ------
    InputError
        If it is none of these.
    """
    if keep in _WEIGHT_WORDS:
        return _WEIGHT_WORDS[keep]
    try:
        weight = float(keep)
    except ValueError:
        weight = -1.0
    if not 0.0 <= weight <= 1.0:
        raise InputError(f"--keep {keep!r} must be taper, tone, or a number from 0 to 1")
    return weight


def choose_dirts(
    situations: tuple[Situation, ...],
    kind: AnyKind | Literal["none"] | None,
    drive: float | None,
    touch: float | None = None,
) -> tuple[Situation, ...]:
    """The situations, each with the dirt that `choose_dirt` finds for it."""
    return tuple(
        replace(one, rig=replace(one.rig, dirt=choose_dirt(one.rig, kind, drive, touch)))
        for one in situations
    )


def choose_dirt(
    rig: Rig,
    kind: AnyKind | Literal["none"] | None,
    drive: float | None,
    touch: float | None = None,
) -> AnyDirt | None:
    """The clipping curve or circuit from the options, or else the rig's own.

    Raises
    ------
    InputError
        If ``--drive`` is given without a curve, ``--touch`` without a circuit,
        or one is out of range.
    """
    if kind == "none":
        dirt = None
    elif kind is None or (rig.dirt is not None and kind == rig.dirt.kind):
        dirt = rig.dirt
    else:
        dirt = dirt_of(kind)
    if drive is not None:
        if not isinstance(dirt, Dirt):
            instead = "" if dirt is None else f", and {dirt.kind} is a circuit (see --touch)"
            raise InputError(
                f"--drive {drive:g} needs a --dirt kind; one of {', '.join(DIRT_KINDS)}{instead}"
            )
        with place("--drive"):
            dirt = replace(dirt, drive_db=drive)
    if touch is not None:
        if not isinstance(dirt, Stage):
            raise InputError(
                f"--touch {touch:g} needs a circuit as --dirt; one of {', '.join(STAGE_KINDS)}"
            )
        with place("--touch"):
            dirt = replace(dirt, touch_db=touch)
    return dirt


def gather_designs(
    names: tuple[str, ...], file: Path | None, rig: Rig
) -> tuple[Design, ...] | None:
    """The designs asked for, or None if none are.

    Raises
    ------
    InputError
        If one cannot be read, or is given twice, or there are too many.
    """
    if len(names) > MOST_DESIGNS:
        raise InputError(
            f"--design is given {len(names)} times; at most {MOST_DESIGNS} are accepted"
        )
    designs = [for_volume(resolve_design(name), rig.volume) for name in names]
    if file is not None:
        designs += read_designs(file)
        if len(designs) > MOST_DESIGNS:
            raise InputError(
                f"--design and --designs give {len(designs)}; at most {MOST_DESIGNS} are accepted"
            )
    for design in designs:
        _require_plausible(design)
    seen: list[str] = []
    for design in designs:
        if design.name in seen:
            raise InputError(f"--design {design.name!r} is given twice")
        seen.append(design.name)
    return tuple(designs) or None


def all_designs(names: tuple[str, ...], file: Path | None, rig: Rig) -> tuple[Design, ...]:
    """The designs asked for, or every built-in one; as `gather_designs`."""
    return gather_designs(names, file, rig) or built_in_designs(rig.volume)


def require_hum_db(hum_db: float | None) -> None:
    """Refuse a level of hum that is out of range, naming the option."""
    with place("--hum-db"):
        require_hum(hum_db)


def require_plot_ending(path: Path | None) -> None:
    """Refuse a plot file that is neither PNG nor SVG.

    Raises
    ------
    InputError
        Naming the option and the file.
    """
    if path is not None and path != STANDARD and path.suffix.lower() not in PLOT_ENDINGS:
        raise InputError(f"--plot {str(path)!r} must end in .png or .svg, or be - for an SVG")


def read_component(option: str, text: str, unit: Unit) -> float:
    """The value of a part, in ohms, farads or henries.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    with place(f"{option} {text}"):
        value = parse_quantity(text, unit)
        require_component("value", value, unit)
    return value


def read_number(option: str, text: str) -> float:
    """A plain number.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise InputError(f"{option}: {text!r} is not a number")
    return number


def read_at_dial(option: str, text: str, example: str) -> tuple[float, str]:
    """A dial and what is said of it, from ``DIAL=...``.

    Parameters
    ----------
    option, text : str
    example : str
        What would be accepted, such as ``DIAL=OHMS, such as 7=96k``.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    word, equals, said = text.partition("=")
    try:
        dial = float(word)
    except ValueError:
        dial = math.nan
    if not equals or math.isnan(dial):
        raise InputError(f"{option} {text!r} must be {example}")
    require_dial(f"{option} dial", dial)
    return dial, said


def parse_numbers(option: str, text: str) -> Array:
    """Numbers separated by commas.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    try:
        numbers = np.array([float(word) for word in text.split(",")])
    except ValueError:
        raise InputError(f"{option} {text!r} must be numbers separated by commas") from None
    if not np.all(np.isfinite(numbers)) or numbers.size > _MOST_NUMBERS:
        raise InputError(f"{option} {text!r} must be at most 10,000 finite numbers")
    return numbers


def parse_dials(text: str, option: str = "--dial") -> Array:
    """Dial positions 0-10, by commas.

    Raises
    ------
    InputError
        Naming the option and what lies outside.
    """
    dials = parse_numbers(option, text)
    for dial in dials:
        require_dial(option, dial)
    return dials


def read_turned_dials(text: str, option: str = "--dial") -> Array:
    """Dial positions above 0 and up to 10, by commas.

    Raises
    ------
    InputError
        Naming the option and what lies outside.
    """
    dials = parse_numbers(option, text)
    for dial in dials:
        if not 0 < dial <= 10:
            raise InputError(f"{option}: {dial:g} must lie above 0 and up to 10")
    return dials


def parse_frequencies(text: str) -> Array:
    """A frequency list, or ``first:last:count``.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    if ":" in text:
        words = text.split(":")
        try:
            first, last, count = float(words[0]), float(words[1]), int(words[2])
            valid = len(words) == 3 and 0 < first < last < 1e9 and 2 <= count <= _MOST_NUMBERS
        except (ValueError, IndexError):
            valid = False
        if not valid:
            raise InputError(
                f"--frequency {text!r} must be first:last:count with 0 < first < last"
                " and a count of 2 to 10000"
            )
        return np.geomspace(first, last, count)
    return parse_numbers("--frequency", text)
