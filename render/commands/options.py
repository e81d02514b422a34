"""Options that several commands share, and how their texts are read."""

import os
import warnings
from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Any

import click

import presolder as ps
from presolder.models.audio.stairs import DIALS, PHRASE_SECONDS
from presolder.models.audio.voicing import require_hum
from presolder.models.cores import JOBS
from presolder.models.errors import ImplausibleValueError, InputError, OddValueWarning, place
from presolder.models.instrument.built_in import for_rig
from presolder.models.instrument.circuits import STAGE_KINDS
from presolder.models.instrument.dirt import (
    ANY_KINDS,
    DIRT_KINDS,
    AnyDirt,
    AnyKind,
    Dirt,
)
from presolder.models.instrument.instrument import Situation, find_situation
from presolder.models.instrument.network import Design
from presolder.models.instrument.plausible import oddities
from presolder.models.instrument.player import PLAYING, Playing
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.judging.ear import (
    LISTENING_LEVEL_DB,
    LOUDEST_LEVEL_DB,
    QUIETEST_LEVEL_DB,
)
from presolder.render.commands.completion import (
    complete_designs,
    complete_rigs,
    complete_situations,
)
from presolder.render.commands.remarks import remark
from presolder.render.commands.texts import parse_dials, read_preference
from presolder.render.files.audio import read_recording
from presolder.render.files.default_rig import default_rig
from presolder.render.files.designs import MOST_DESIGNS, read_designs, resolve_design
from presolder.render.files.dirt import FUZZ_WAS_RENAMED
from presolder.render.files.rig_file import DEFAULT_RIG, find_situations

Command = Callable[..., None]
Option = Callable[[Command], Command]
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
    return _with_options(
        command,
        click.option(
            "--rig", "rig_names", multiple=True, metavar="RIG", shell_complete=complete_rigs,
            help="Use this rig: a file, - for standard input, or a built-in name."
            " [default: PRESOLDER_RIG, your own"
            f" ('init --own'), or {DEFAULT_RIG}]",
        ),
        click.option(
            "--in", "meant_in", multiple=True, metavar="SITUATION",
            shell_complete=complete_situations,
            help=f"Take this situation of the rig, or switch position; without it {unless}.",
        ),
        click.option(
            "--as-given", is_flag=True,
            help="Accept unusual values without a warning.",
        ),
    )  # fmt: skip


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


def design_options(unless: str = "built-in ones") -> Callable[[Command], Command]:
    """``--design`` and ``--designs``, gathered into one argument ``designs``.

    It is None where there are none.

    Parameters
    ----------
    unless : str
        What is taken then, in words.
    """

    def with_designs(function: Command) -> Command:
        @wraps(function)
        def gathered(
            *args: object, design_names: tuple[str, ...], designs_file: Path | None,
            **others: Any,  # noqa: ANN401
        ) -> None:  # fmt: skip
            rig = others["rig"] if "rig" in others else others["situations"][0].rig
            function(*args, designs=_gathered(design_names, designs_file, rig), **others)

        return _with_options(
            gathered,
            click.option(
                "--design", "design_names", multiple=True, shell_complete=complete_designs,
                help="Take this design, a built-in name or an expression like '91k || 820p';"
                f" repeatable. [default: {unless}]",
            ),
            click.option(
                "--designs", "designs_file", type=click.Path(path_type=Path),
                help="Take the designs of this TOML file with [[design]] tables; - is standard"
                " input.",
            ),
        )  # fmt: skip

    return with_designs


def _gathered(names: tuple[str, ...], file: Path | None, rig: Rig) -> tuple[Design, ...] | None:
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
    designs = [for_rig(resolve_design(name), rig) for name in names]
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


def take_options(function: Command) -> Command:
    """The recording, and which part of it to use."""
    return _with_options(
        function,
        click.argument("di", type=click.Path(path_type=Path)),
        click.option("--start", type=float, help="Start at this second of the recording."),
        click.option("--end", type=float, help="End at this second of the recording."),
    )


def comparing_options(function: Command) -> Command:
    """Stairs and A/B recordings, gathered into one argument ``comparing``."""

    @wraps(function)
    def gathered(
        *args: object,
        stairs: bool,
        beside_bare: bool,
        stair_dials: str,
        phrase_s: float,
        **others: object,
    ) -> None:
        held_at = tuple(parse_dials(stair_dials, "--stair-dials", silent_ok=False).tolist())
        comparing = ps.Comparing(stairs, beside_bare, held_at, phrase_s)
        function(*args, comparing=comparing, **others)

    return _with_options(
        gathered,
        click.option(
            "--stairs", is_flag=True, help="Also make the phrase at one dial after the other."
        ),
        click.option(
            "--ab", "beside_bare", is_flag=True,
            help="Also make bare, design, bare at each dial, at true and at matched loudness.",
        ),
        click.option(
            "--stair-dials", default=",".join(f"{dial:g}" for dial in DIALS), show_default=True,
            help="Use these dials for stairs and A/B recordings, by commas.",
        ),
        click.option(
            "--phrase", "phrase_s", type=float, default=PHRASE_SECONDS, show_default=True,
            help="Use so many seconds of the take for stairs and A/B recordings.",
        ),
    )  # fmt: skip


def output_options(place: str, named: str = "named by the take") -> Callable[[Command], Command]:
    """``--out`` and ``--force`` of commands that write a folder.

    Parameters
    ----------
    place : str
        What ``--out`` makes, as a sentence without its stop.
    named : str
        What it is called by default.
    """

    def given(function: Command) -> Command:
        function = click.option(
            "--force", is_flag=True,
            help="Write into a folder that has files, and replace what an earlier run wrote.",
        )(function)  # fmt: skip
        return click.option(
            "--out", type=click.Path(path_type=Path), help=f"{place}. [default: {named}]"
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


def jobs_option(function: Command) -> Command:
    """``--jobs``, of commands whose work is spread over cores."""

    def set_jobs(context: click.Context, option: click.Parameter, jobs: int | None) -> None:  # noqa: ARG001
        if jobs is not None:
            os.environ[JOBS] = str(jobs)

    return click.option(
        "--jobs", type=click.IntRange(1, 256), metavar="N", expose_value=False, is_eager=True,
        callback=set_jobs, help="Number of processor cores to use.  [default: all]",
    )(function)  # fmt: skip


def json_option(function: Command) -> Command:
    """``--json``."""
    return click.option(
        "--json",
        "as_json",
        is_flag=True,
        help="Print numbers for programs ('presolder docs json' describes them).",
    )(function)


class _DirtChoice(click.Choice[str]):
    """Kinds of dirt, with a word for whoever used an old name."""

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> str:
        if value == "fuzz":
            raise InputError(f"--dirt {FUZZ_WAS_RENAMED}")
        # A curve of one's own.
        if str(value).lower().endswith((".csv", ".cir")):
            return str(value)
        return super().convert(value, param, ctx)


def stage_options(
    *, speaker: bool = True, hum: bool = True, dirt: AnyKind | None = None
) -> Callable[[Command], Command]:
    """``--dirt``, ``--drive``, ``--touch``, ``--hum-db`` and ``--speaker``.

    The command gets its rig, or its situations, into the dirt that is chosen, and
    ``hum_db`` and ``speaker``.

    Parameters
    ----------
    speaker, hum : bool
        Whether they are to be chosen.
    dirt : str, optional
        What is taken where neither the options nor the rig say; the rig's own input
        stays.
    """

    def with_stages(function: Command) -> Command:
        @wraps(function)
        def fed(
            *args: object,
            dirt_kind: str | None,
            drive: float | None,
            touch: float | None,
            **others: Any,  # noqa: ANN401
        ) -> None:
            def into(rig: Rig) -> Rig:
                unsaid = dirt_kind is None and rig.dirt is None
                chosen = choose_dirt(rig, dirt if unsaid else dirt_kind, drive, touch)
                if unsaid and isinstance(chosen, Dirt):
                    chosen = replace(chosen, input=rig.load)
                return replace(rig, dirt=chosen)

            if "rig" in others:
                others["rig"] = into(others["rig"])
            else:
                others["situations"] = tuple(
                    replace(one, rig=into(one.rig)) for one in others["situations"]
                )
            with place("--hum-db"):
                require_hum(others.get("hum_db"))
            function(*args, **others)

        chosen = [option for option, there in ((speaker_option, speaker), (_HUM, hum)) if there]
        return _with_options(fed, *_DIRT_OPTIONS, *chosen)

    return with_stages


_DIRT_OPTIONS: tuple[Option, ...] = (
    click.option(
        "--dirt", "dirt_kind", type=_DirtChoice([*ANY_KINDS, "none"]),
        help="Add a distortion after the guitar: a simple clipper, a pedal circuit, or your own, a"
        " file CURVE.csv of volts_in,volts_out, or a"
        " netlist PEDAL.cir. [default: the rig's]",
    ),
    click.option(
        "--drive", type=float,
        help="Gain into the clipper: dB above the point where it starts to clip."
        " [default: 20]",
    ),
    click.option(
        "--touch", type=float,
        help="Pick harder (+) or softer (-), in dB; circuits only.",
    ),
)  # fmt: skip
_HUM: Option = click.option(
    "--hum-db", type=float,
    help="Add hum and hiss at this level, dB re the take's loudest second.",
)  # fmt: skip


def _with_options(command: Command, *options: Option) -> Command:
    """A command that takes some options, in the order of its help."""
    for option in reversed(options):
        command = option(command)
    return command


def speaker_option(function: Command) -> Command:
    """``--speaker``."""
    return click.option(
        "--speaker",
        help="Play through a loudspeaker: 'plain', or an impulse response as a WAV file.",
    )(function)


def judging_options(*, of_take: bool = False) -> Callable[[Command], Command]:
    """What designs are judged by, gathered into one argument ``judging``.

    Parameters
    ----------
    of_take : bool
        Whether it is the command's own take that is heard, through the loudspeaker that
        its other options say.
    """

    def with_judging(function: Command) -> Command:
        @wraps(function)
        def gathered(
            *args: object,
            plays: Playing | None,
            left_at: str | None,
            keep: str | None,
            listening_level: float,
            take_file: Path | None = None,
            speaker: str | None = None,
            **others: object,
        ) -> None:
            if not QUIETEST_LEVEL_DB <= listening_level <= LOUDEST_LEVEL_DB:
                raise InputError(
                    f"--listening-level {listening_level:g} must lie between"
                    f" {QUIETEST_LEVEL_DB:g} and {LOUDEST_LEVEL_DB:g} dB"
                )
            judging = ps.Judging(
                plays,
                None if left_at is None else parse_dials(left_at, "--left-at", silent_ok=False),
                None if take_file is None else read_recording(take_file),
                listening_level,
                None if keep is None else read_preference(keep),
                speaker,
            )
            function(*args, judging=judging, **others)

        return _with_options(gathered, *_PLAYER_OPTIONS, *([] if of_take else _HEARD), _LISTENED)

    return with_judging


_PLAYER_OPTIONS: tuple[Option, ...] = (
    click.option(
        "--plays", type=click.Choice(PLAYING),
        help="Say what the knob is used for. [default: the rig's, or rolls-back]",
    ),
    click.option(
        "--left-at", metavar="DIALS",
        help="Say at which dials the knob is left, by commas. [default: by --plays]",
    ),
    click.option(
        "--keep", help="Say what matters: taper, tone, or the tone's weight from 0 to 1."
    ),
)  # fmt: skip
_HEARD: tuple[Option, ...] = (
    click.option(
        "--take", "take_file", type=click.Path(path_type=Path),
        help="Judge by this recording; - is standard input. [default: a bundled one]",
    ),
    speaker_option,
)  # fmt: skip
_LISTENED: Option = click.option(
    "--listening-level", type=float, default=LISTENING_LEVEL_DB, show_default=True,
    help="Judge at this level of the take's loudest second at 10, dB SPL.",
)  # fmt: skip


def choose_dirt(
    rig: Rig,
    kind: str | None,
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
        dirt = ps.dirt(kind)
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
