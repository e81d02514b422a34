"""Listening: renders in memory and in files, and packs to send."""

import os
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from presolder._asked import (
    DesignLike,
    Numbers,
    Progress,
    RigLike,
    asked_designs,
    asked_dials,
    asked_ear,
    asked_places,
    asked_rig,
    counted,
)
from presolder._describe import sample
from presolder.models.audio.knob import KnobPath, steady_turn
from presolder.models.audio.stairs import DIALS, PHRASE_SECONDS
from presolder.models.audio.take import folded
from presolder.models.errors import InputError
from presolder.models.instrument.designs import short_list
from presolder.models.instrument.dirt import AnyDirt, Dirt
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.player import Playing
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.judging.cleanup import REFERENCE_HZ, clean_up
from presolder.models.judging.ear import LISTENING_LEVEL_DB
from presolder.models.judging.played import DIALS as PLAYED_DIALS
from presolder.models.judging.played import played, tones
from presolder.render.files.audio import Bits, Recording
from presolder.render.files.ffmpeg import Format
from presolder.render.listening.after import After, join
from presolder.render.listening.audition import Audition, audition
from presolder.render.listening.comparisons import Comparing
from presolder.render.listening.job import PackJob, Setting
from presolder.render.listening.pack import work_units, write_pack, write_single_file
from presolder.render.listening.sweeps import SweepJob, write_sweeps
from presolder.render.report.cleanup import CleanupReport

CLEANUP_DIALS = np.linspace(0.1, 10.0, 100)
_PLAYED_SECONDS = 2.0
SWEEP = steady_turn(10.0, 0.0, 8.0, 1.0)
HELD = (10.0, 8.0, 6.0, 4.0, 2.0)
LARGEST_GAIN_DB = 200.0


def render(
    take: Recording,
    rig: RigLike,
    designs: Iterable[DesignLike] | None = None,
    path: KnobPath = SWEEP,
    *,
    dirt: AnyDirt | None = None,
    speaker: str | None = None,
    hum_db: float | None = None,
) -> Audition:
    """Hear a take through designs while the volume knob follows a path.

    Parameters
    ----------
    take : Recording
        From `read`; cut or looped to the length of the path.
    rig : Rig or str
        The instrument, what it feeds, and how the take was made.
    designs : iterable of Design or str, optional
        By default every built-in one.
    path : KnobPath
        From `turn` or `gesture`; by default a slow turn from 10 to 0.
    dirt : Dirt or Stage, optional
        A clipping curve after the chain, or a circuit that the guitar feeds and
        is part of; its input then loads the guitar.
    speaker : str, optional
        ``"plain"``, or the path of an impulse response.
    hum_db : float, optional
        Hum and hiss, dB re the take's loudest second, -140 to 0.

    Returns
    -------
    Audition
        A mapping from design names to arrays of shape (channels, n), full
        scale 1.0, with ``sample_rate``. Start playback quiet: levels differ.

    Raises
    ------
    InputError
        If something given cannot be used.

    Notes
    -----
    Four-stage Radau IIA steps of the circuit's equations, one a sample
    (Hairer and Wanner, Solving Ordinary Differential Equations II, IV.5).

    Examples
    --------
    With nothing changed, the take comes back.

    >>> import presolder as ps
    >>> take = ps.sample("phrase")
    >>> audio = ps.render(take, "humbucker-500k", ["cap"], ps.turn(10, 10, travel=1, rest=0))
    >>> audio["cap"].shape, audio.sample_rate
    ((1, 48000), 48000)
    >>> bool(abs(audio["cap"] - take.samples[:, :48000])[:, :47900].max() < 1e-3)
    True
    """
    found = asked_rig(rig)
    chosen = asked_designs(designs, found)
    heard = join(take, found, chosen, After(dirt, speaker, hum_db))
    return audition(heard, take.samples, path)


def render_files(
    out: str | os.PathLike[str],
    take: Recording,
    rig: RigLike | Sequence[Situation],
    designs: Iterable[DesignLike] | None = None,
    path: KnobPath = SWEEP,
    *,
    dirt: AnyDirt | None = None,
    speaker: str | None = None,
    hum_db: float | None = None,
    stairs: bool = False,
    beside_bare: bool = False,
    stair_dials: Iterable[float] = DIALS,
    phrase_s: float = PHRASE_SECONDS,
    bits: Bits = "24",
    gain_db: float | None = None,
    force: bool = False,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Render to WAV files with a manifest, holding only a little audio in memory.

    Parameters
    ----------
    out : str or path
        Folder to make.
    take, designs, path, dirt, speaker, hum_db
        As for `render`.
    rig : Rig, str or sequence of Situation
        As for `render`; of several situations, from `situations`, each gets a
        folder and, unless `dirt` is given, feeds its own.
    stairs : bool
        Make ``stairs/`` too: the phrase at each of the stair dials in turn.
    beside_bare : bool
        Make ``ab/`` too: bare, design, bare at each of them, at true and at
        matched loudness.
    stair_dials : iterable of float
        1 to 20 positions above 0.
    phrase_s : float
        Seconds of the take that make the phrase, 0.5 to 30.
    bits : {"16", "24", "float"}
        Sample format.
    gain_db : float, optional
        Gain for all designs, -200 to 200; by default the loudest peak gets to
        -1 dBFS.
    force : bool
        Whether files in the folder may be replaced.
    progress : callable, optional
        Called with the steps done since the last call, and all there are.

    Returns
    -------
    dict
        The manifest, as in ``manifest.json``; docs/json.md. Of several
        situations, ``situations`` has one each.

    Raises
    ------
    InputError
        If something given cannot be used, or the gain would clip. Nothing is
        left behind then.

    Notes
    -----
    As for `render`; loudness after ITU-R BS.1770.

    Examples
    --------
    >>> import tempfile, presolder as ps
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     made = ps.render_files(
    ...         f"{folder}/out", ps.sample(), "humbucker-500k", ["bare"], ps.turn(10, 8, travel=1)
    ...     )
    >>> made["files"][0]["file"], made["files"][0]["sample_peak_dbfs"]
    ('sweep/bare.wav', -1.0)
    """
    if gain_db is not None and not abs(gain_db) <= LARGEST_GAIN_DB:
        raise InputError(f"gain = {gain_db:g} dB must lie between -200 and 200")
    places = asked_places(rig)
    jobs = tuple(
        SweepJob(
            take,
            one.rig,
            asked_designs(designs, places[0].rig),
            path,
            bits,
            gain_db,
            After(fed, speaker, hum_db),
            Comparing(stairs, beside_bare, tuple(float(dial) for dial in stair_dials), phrase_s),
            asked_ear(replace(one.rig, dirt=fed), take=take, speaker=speaker),
            one.name,
        )
        for one, fed in zip(places, _fed(rig, places, dirt), strict=True)
    )
    told = counted(progress, sum(job.work_units for job in jobs))
    return write_sweeps(jobs, Path(out), force=force, progress=told)


def _fed(
    rig: RigLike | Sequence[Situation], places: tuple[Situation, ...], dirt: AnyDirt | None
) -> tuple[AnyDirt | None, ...]:
    """What each situation feeds: what is given, or its own; a rig alone only what is given."""
    alone = isinstance(rig, Rig | str | os.PathLike)
    return tuple(dirt if alone or dirt is not None else one.rig.dirt for one in places)


def pack(
    out: str | os.PathLike[str],
    take: Recording,
    rig: RigLike | Sequence[Situation],
    designs: Iterable[DesignLike] | None = None,
    *,
    dials: Iterable[float] = HELD,
    sweep: KnobPath = SWEEP,
    dirt: AnyDirt | None = None,
    speaker: str | None = None,
    hum_db: float | None = None,
    stairs: bool = False,
    beside_bare: bool = False,
    stair_dials: Iterable[float] = DIALS,
    phrase_s: float = PHRASE_SECONDS,
    plays: Playing | None = None,
    judged_dials: Numbers | None = None,
    listening_level: float = LISTENING_LEVEL_DB,
    tone_weight: float | None = None,
    workshop: str = "",
    note: str = "",
    recordings: bool = False,
    listening: Format = "mp3",
    light: bool = False,
    single_file: bool = False,
    allow_large: bool = False,
    force: bool = False,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Make a pack of listening samples with a page to play them.

    Parameters
    ----------
    out : str or path
        A folder to make, or a file that ends in ``.zip``; with `single_file`
        one that ends in ``.html``.
    take, dirt, speaker, hum_db
        As for `render`; the take is at most 30 s long.
    rig : Rig, str or sequence of Situation
        As for `render_files`; the listener changes between several situations
        while it plays.
    designs : iterable of Design or str, optional
        By default a few of the built-in ones that are easily told apart.
    dials : iterable of float
        1 to 12 held positions above 0.
    sweep : KnobPath
        The knob in the sweeps.
    stairs, beside_bare, stair_dials, phrase_s
        As for `render_files`; with stairs there is a reel of them too.
    plays, listening_level, tone_weight
        Under which conditions the page judges the designs, on this take into
        this dirt; as for `compare`.
    judged_dials : float or array_like, shape (d,), optional
        Positions that count for that, as `dials` of `compare`.
    workshop, note : str
        Who sends it, and what they say to the customer.
    recordings : bool
        Whether the page holds the held and swept recordings beside its own engine;
        with dirt, a loudspeaker or hum it always does.
    listening : {"mp3", "m4a"}
        Format of the light copies, where ffmpeg is installed.
    light : bool
        Leave the lossless copies out.
    single_file, allow_large : bool
        Write the page alone, and whether it may be too large to mail.
    force : bool
        Whether existing files may be replaced.
    progress : callable, optional
        Called with the steps done since the last call, and all there are.

    Returns
    -------
    dict
        What is in the pack, as in ``pack.json``; of a single file its
        ``page`` and ``bytes``.

    Raises
    ------
    InputError
        If something given cannot be used. Nothing is left behind then.

    Notes
    -----
    Levels are matched by loudness after ITU-R BS.1770; judged as by `need`.

    Examples
    --------
    >>> import presolder as ps
    >>> contents = ps.pack(
    ...     "customer.zip", ps.read("my-di.wav"), "my-guitar.toml", ["bare", "68k + 1n5"]
    ... )  # doctest: +SKIP
    """
    path, places = Path(out), asked_places(rig)
    if single_file:
        _require_page(path)
    found, fed = places[0].rig, _fed(rig, places, dirt)
    heard_by = (plays, judged_dials, take, listening_level, tone_weight, speaker)
    settings = tuple(
        _setting(place, After(one, speaker, hum_db), heard_by)
        for place, one in zip(places, fed, strict=True)
    )
    chosen = short_list(found.volume) if designs is None else asked_designs(designs, found)
    comparing = Comparing(stairs, beside_bare, tuple(map(float, stair_dials)), phrase_s)
    job = PackJob(
        replace(take, samples=folded(take.samples)), settings, chosen, sweep,
        tuple(map(float, dials)), comparing, workshop, note, recordings,
    )  # fmt: skip
    told = counted(progress, work_units(job))
    common: dict[str, Any] = {"listening": listening, "force": force, "progress": told}
    if single_file:
        size = write_single_file(job, path, allow_large=allow_large, **common)
        return {"page": str(path), "rig": found.name, "bytes": size}
    return write_pack(job, path, light=light, **common)


def _setting(place: Situation, after: After, heard_by: tuple[Any, ...]) -> Setting:
    """A situation with what follows it, and the ear that judges it there."""
    ear = asked_ear(replace(place.rig, dirt=after.dirt), *heard_by)
    return Setting(place.name, place.rig, after, ear, place.weight)


def _require_page(path: Path) -> None:
    if path.suffix.lower() not in (".html", ".htm"):
        raise InputError(f"a single file must end in .html, got {str(path)!r}")


def cleanup(
    rig: RigLike,
    designs: Iterable[DesignLike] | None = None,
    *,
    dirt: AnyDirt | None = None,
    tone_hz: float = REFERENCE_HZ,
    dials: Numbers | None = None,
    take: Recording | None = None,
    hum_db: float | None = None,
    progress: Progress | None = None,
) -> CleanupReport:
    """Tell at which dial each design's dirt turns clean, by tones and by playing.

    Parameters
    ----------
    rig : Rig or str
    designs : iterable of Design or str, optional
        By default every built-in one; into a circuit, the few easily told apart.
    dirt : Dirt or Stage, optional
        The curve or circuit; by default the rig's own, or a smooth curve.
    tone_hz : float
        The reference tone, 20 to 5000 Hz. It reaches a curve at dial 10 by the
        curve's drive past its knee; into a circuit it has a fifth of the
        pickup's output, as one string of a chord.
    dials : float or array_like, shape (d,), optional
        Rising positions above 0.
    take : Recording, optional
        What is played; by default two seconds of a bundled one.
    hum_db : float, optional
        Hum and hiss, dB re the take's loudest second, -140 to 0.
    progress : callable, optional
        Called with the steps done since the last call, and all there are.

    Returns
    -------
    CleanupReport
        Distortion as a ratio, level and treble in dB, by dial; the same under
        playing; and the order in which the designs clean up.

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    Of tones: total harmonic distortion after IEC 60268-3, referred to the total
    output. Of playing: 1 less the coherence of output and take (Bendat and
    Piersol, Random Data, chapter 6).

    Examples
    --------
    >>> import presolder as ps
    >>> report = ps.cleanup("humbucker-500k", ["bare"], dirt=ps.dirt("smooth"))
    >>> float(report.figures[0].thd[-1].round(2))
    0.33
    """
    found = asked_rig(rig)
    if take is None:
        found = found.for_any_playing
    chosen_dirt = dirt or found.dirt or Dirt("smooth")
    if not 20 <= tone_hz <= 5000:
        raise InputError(f"{tone_hz:g} must lie between 20 and 5000 Hz")
    given = None if dials is None else asked_dials(dials, silent_ok=False)
    held = np.array(PLAYED_DIALS) if given is None else given
    if isinstance(chosen_dirt, Stage):
        few = designs is None
        chosen = short_list(found.volume) if few else asked_designs(designs, found)
        told = counted(progress, held.size * (1 + len(chosen)))
        figures = tones(found, chosen, chosen_dirt, held, tone_hz, told)
    else:
        chosen, told = asked_designs(designs, found), counted(progress, held.size)
        fine = CLEANUP_DIALS if given is None else given
        figures = tuple(clean_up(found, one.network, chosen_dirt, fine, tone_hz) for one in chosen)
    heard = take or _phrase()
    after = After(chosen_dirt, None, hum_db).loaded(heard.sample_rate_hz)
    under = played(found, chosen, after, heard.samples, heard.sample_rate_hz, held, told)
    return CleanupReport(found, chosen_dirt, tone_hz, chosen, figures, heard.name, under)


def _phrase() -> Recording:
    """What is played where no take is given: the beginning of a bundled one."""
    bundled = sample("chords")
    count = round(_PLAYED_SECONDS * bundled.sample_rate_hz)
    return replace(bundled, samples=bundled.samples[:, :count])
