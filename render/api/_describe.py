"""Describing: rigs, designs, takes, knob paths and dirt."""

import math
import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from presolder._asked import DirtLike, RigLike, asked_dirt, asked_rig
from presolder.models.audio.knob import KnobPath, steady_turn
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import BUILT_IN, built_in_designs
from presolder.models.instrument.dirt import AnyDirt, Dirt
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Capture, Captured, Rig
from presolder.models.instrument.starter import starter as fill_in
from presolder.models.instrument.stock import Stock
from presolder.render.files.audio import read_recording
from presolder.render.files.designs import read_designs, resolve_design
from presolder.render.files.points import read_gesture
from presolder.render.files.rig_file import DEFAULT_RIG, built_in_rigs, find_rig, find_situations
from presolder.render.files.samples import read_in_turn
from presolder.render.files.stock import read_stock
from presolder.render.files.take import Take
from presolder.render.report.starter import StarterReport

AnyPath = str | os.PathLike[str]


def rig(
    name_or_path: Rig | AnyPath = DEFAULT_RIG,
    *,
    captured: Captured | None = None,
    as_given: bool = False,
) -> Rig:
    """Load a rig: pickup, pots, cable, input and how its takes were made.

    Parameters
    ----------
    name_or_path : Rig, str or path
        The name of a built-in rig, or a TOML file as in ``docs/rig-format.md``;
        a rig is taken as it is.
    captured : {"jack", "string"}, optional
        Overrides how takes were made: at the jack, through the rig as it is;
        or the pickup's raw EMF.
    as_given : bool
        Whether values are taken that parts of their kind do not have; odd ones
        are warned of otherwise.

    Returns
    -------
    Rig
        Values in ohms, farads and henries.

    Raises
    ------
    InputError
        If there is no such rig, or its file has an error.

    See Also
    --------
    rigs : all that are built in.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.rig("single-coil-250k").first.pickup.inductance_henries
    2.3
    """
    found = (
        name_or_path
        if isinstance(name_or_path, Rig)
        else find_rig(os.fspath(name_or_path), as_given=as_given)
    )
    if captured is None:
        return found
    if captured == "string":
        return replace(found, take=Capture("string"))
    # A file's own jack take stays; otherwise the rig as it stands becomes the take's.
    return found if found.take.captured == "jack" else replace(found, take=Capture(captured))


def starter(answers: Mapping[str, str], title: str = "") -> StarterReport:
    """Begin a rig file from what is known of a guitar.

    Parameters
    ----------
    answers : mapping of str
        By section and key of the rig file, ``"pickup.resistance"``; and
        ``"pickup"``, the kind of pickup, by which the rest is typical.
    title : str
        What to call it.

    Returns
    -------
    StarterReport
        ``toml`` is the rig file, commented; what was not known is marked.

    Raises
    ------
    InputError
        If an answer cannot be used.

    Examples
    --------
    >>> import presolder as ps
    >>> begun = ps.starter({"pickup": "single-coil", "volume.resistance": "A250K"})
    >>> "pickup.inductance" in begun.starter.guessed
    True
    """
    return StarterReport(fill_in(answers, title))


def situations(name_or_path: str | os.PathLike[str]) -> tuple[Situation, ...]:
    """The situations that a rig is used in: as listed, or one a position of its switch.

    Parameters
    ----------
    name_or_path : str or path
        A built-in name, or a TOML file as in ``docs/rig-format.md``.

    Returns
    -------
    tuple of Situation
        Each with its own ``rig``; all keep the take that the file describes.

    Raises
    ------
    InputError
        If there is no such rig, or its file has an error.

    Examples
    --------
    >>> import presolder as ps
    >>> [one.name for one in ps.situations("split-humbucker")]
    ['in series', 'in parallel', 'one coil']
    """
    return find_situations(os.fspath(name_or_path))


def stock(path: str | os.PathLike[str]) -> Stock:
    """Read a drawer of parts, to search with `tailor`.

    Parameters
    ----------
    path : str or path
        A CSV file with the columns ``type`` (resistor, capacitor or dual-pot),
        ``value``, ``count`` and, if wanted, ``tolerance`` and ``price``.

    Returns
    -------
    Stock

    Raises
    ------
    InputError
        Naming file and line.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.stock("no-such-drawer.csv")
    Traceback (most recent call last):
    presolder.models.errors.InputError: no-such-drawer.csv: no such file
    """
    return read_stock(Path(path))


def rigs() -> tuple[Rig, ...]:
    """All built-in rigs.

    Returns
    -------
    tuple of Rig

    Examples
    --------
    >>> import presolder as ps
    >>> [rig.name for rig in ps.rigs()][:2]
    ['bass-two-pickups', 'dark-long-cable']
    """
    return tuple(find_rig(name) for name in built_in_rigs())


def design(text: str) -> Design:
    """Read one design: a built-in name, or an expression.

    Parameters
    ----------
    text : str
        ``+`` joins in series, ``||`` in parallel; ``docs/design-format.md``.

    Returns
    -------
    Design

    Raises
    ------
    InputError
        If it is neither; the message gives the column.

    Examples
    --------
    >>> import presolder as ps
    >>> print(ps.design("68k + 1n5"))
    68k + 1n5
    >>> print(ps.design("series"))
    series: 330k + 180p
    """
    return resolve_design(text)


def designs(path: AnyPath | None = None, *, rig: RigLike | None = None) -> tuple[Design, ...]:
    """All built-in designs, or those of a file.

    Parameters
    ----------
    path : str or path, optional
        A TOML file with ``[[design]]`` tables.
    rig : Rig or str, optional
        The guitar that the values of the built-in ones are to suit; by default a common
        one with a 500k pot.

    Returns
    -------
    tuple of Design

    Raises
    ------
    InputError
        If the file cannot be used.

    Examples
    --------
    >>> import presolder as ps
    >>> [design.name for design in ps.designs()][:3]
    ['bare', 'cap', 'cap-strong']
    >>> print(ps.designs(rig="single-coil-250k")[5])
    series: 120k + 120p
    """
    if path is not None:
        return read_designs(Path(path))
    return BUILT_IN if rig is None else built_in_designs(asked_rig(rig))


def read(
    path: AnyPath,
    start: float | None = None,
    end: float | None = None,
    *,
    trim: bool = False,
    longest: float = math.inf,
) -> Take:
    """Read a take.

    Parameters
    ----------
    path : str or path
        WAV, FLAC, MP3 or what else libsndfile reads; M4A and AAC with ffmpeg.
        Mono or stereo, 44.1 to 192 kHz.
    start, end : float, optional
        Seconds into the file that the take starts and ends at.
    trim : bool
        Leave out silence at the start.
    longest : float
        Seconds of it that are held in memory at most.

    Returns
    -------
    Take
        ``cut`` says what was left out; ``samples`` of shape (channels, n) with full scale 1.0, and
        ``sample_rate_hz``.

    Raises
    ------
    InputError
        If it cannot be used; the message says why.

    Examples
    --------
    >>> import presolder as ps
    >>> take = ps.read("my-di.wav")  # doctest: +SKIP
    """
    return read_recording(Path(path), start, end, trim=trim, longest_s=longest)


def sample(name: str = "phrase", *others: str) -> Take:
    """Load one of the recordings that come with the package, or some in turn.

    Parameters
    ----------
    name : {"phrase", "chords", "lead", "muted", "string"}
        Chords, lead, muted and string are a pickup's raw EMF: give the rig with
        ``captured="string"``.
    *others : str
        A bar of each is played in turn.

    Returns
    -------
    Take

    Raises
    ------
    InputError
        If there is no such recording, or they were not all recorded at the same place.

    Examples
    --------
    >>> import presolder as ps
    >>> take = ps.sample("phrase")
    >>> take.samples.shape, take.sample_rate_hz
    ((1, 230400), 48000)
    """
    return read_in_turn((name, *others))


def turn(start: float, stop: float, *, travel: float = 8.0, rest: float = 1.0) -> KnobPath:
    """A turn of the volume knob at constant speed, with a rest at both ends.

    Parameters
    ----------
    start, stop : float
        Dial positions, 0-10.
    travel, rest : float
        Seconds turning, and seconds resting before and after.

    Returns
    -------
    KnobPath

    Raises
    ------
    InputError
        If a value is out of range.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.turn(10, 0, travel=4, rest=1).duration_s
    6.0
    """
    return steady_turn(float(start), float(stop), float(travel), float(rest))


def gesture(points: AnyPath | Iterable[tuple[float, float]]) -> KnobPath:
    """A path of the volume knob, straight from point to point.

    Parameters
    ----------
    points : path, or pairs of float
        A CSV of ``time_s,dial``, or such pairs; times rise from 0.

    Returns
    -------
    KnobPath

    Raises
    ------
    InputError
        If they are no such path.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.gesture([(0, 0), (0.5, 10), (2, 10)]).duration_s
    2.0
    """
    if isinstance(points, str | os.PathLike):
        return read_gesture(Path(points))
    pairs = [(float(time_s), float(dial)) for time_s, dial in points]
    return KnobPath(tuple(time_s for time_s, _ in pairs), tuple(dial for _, dial in pairs))


def dirt(kind: DirtLike = "smooth", drive: float | None = None) -> AnyDirt:
    """A clipping curve to listen through, or a circuit.

    Parameters
    ----------
    kind : str, path, callable, Dirt or Stage
        The name of a curve or circuit; a curve of one's own as a CSV file of
        ``volts_in,volts_out`` or as a function of an array of volts; a circuit of one's
        own as a netlist, ``.cir``.
    drive : float, optional
        dB by which the loudest second of the take passes a curve's knee, at dial 10;
        20 by default.

    Returns
    -------
    Dirt or Stage

    Raises
    ------
    InputError
        If there is none of that name, it is no clipping curve, or the drive is not
        between 0 and 60.

    Examples
    --------
    >>> import numpy as np, presolder as ps
    >>> ps.dirt("lopsided-10k", drive=25).load.resistance_ohms
    10000.0
    >>> ps.dirt(np.tanh).kind.name
    'tanh'
    """
    found = asked_dirt(kind)
    if found is None:
        raise InputError("dirt = None; a name, a file, a function or a dirt is wanted")
    if drive is None:
        return found
    if not isinstance(found, Dirt):
        raise InputError(f"drive = {drive:g} is of curves; {found.kind} is a circuit")
    return replace(found, drive_db=float(drive))
