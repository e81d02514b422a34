"""Listening: renders in memory and in files."""

import os
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from presolder._asked import (
    SWEEP,
    DesignsLike,
    DirtLike,
    Progress,
    RigLike,
    TakeLike,
    asked_designs,
    asked_dirt,
    asked_dirts,
    asked_ear,
    asked_places,
    asked_rig,
    asked_take,
    counted,
)
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.stairs import DIALS, PHRASE_SECONDS
from presolder.models.errors import InputError
from presolder.models.instrument.instrument import Situation
from presolder.render.files.audio import Bits
from presolder.render.files.folder import require_free_folder
from presolder.render.listening.after import After, join
from presolder.render.listening.audition import Audition, audition
from presolder.render.listening.comparisons import Comparing
from presolder.render.listening.sweeps import SweepJob, write_sweeps

LARGEST_GAIN_DB = 200.0


def render(
    take: TakeLike,
    rig: RigLike,
    designs: DesignsLike | None = None,
    path: KnobPath = SWEEP,
    *,
    dirt: DirtLike | None = None,
    speaker: str | None = None,
    hum_db: float | None = None,
) -> Audition:
    """Hear a take through designs while the volume knob follows a path.

    Parameters
    ----------
    take : Recording, path, or array and rate
        Cut or looped to the length of the path. An array has the shape (n,),
        (channels, n) or (n, channels).
    rig : Rig or str
        The instrument, what it feeds, and how the take was made.
    designs : Design, str or iterable of them, optional
        By default every built-in one.
    path : KnobPath
        From `turn` or `gesture`; by default a slow turn from 10 to 0.
    dirt : Dirt, Stage or str, optional
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
    found, heard = asked_rig(rig), asked_take(take)
    chosen = asked_designs(designs, found)
    joined = join(heard, found, chosen, After(asked_dirt(dirt), speaker, hum_db))
    return audition(joined, heard.samples, path)


def render_files(
    out: str | os.PathLike[str],
    take: TakeLike,
    rig: RigLike | Sequence[Situation],
    designs: DesignsLike | None = None,
    path: KnobPath = SWEEP,
    *,
    dirt: DirtLike | None = None,
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
    require_free_folder(Path(out), force=force)
    if gain_db is not None and not abs(gain_db) <= LARGEST_GAIN_DB:
        raise InputError(f"gain = {gain_db:g} dB must lie between -200 and 200")
    places, recording = asked_places(rig), asked_take(take)
    jobs = tuple(
        SweepJob(
            recording,
            one.rig,
            asked_designs(designs, places[0].rig),
            path,
            asked_ear(replace(one.rig, dirt=fed), take=recording, speaker=speaker),
            bits,
            gain_db,
            After(fed, speaker, hum_db),
            Comparing(stairs, beside_bare, tuple(float(dial) for dial in stair_dials), phrase_s),
            one.name if len(places) > 1 else "",
        )
        for one, fed in zip(places, asked_dirts(rig, places, dirt), strict=True)
    )
    told = counted(progress, sum(job.work_units for job in jobs))
    return write_sweeps(jobs, Path(out), force=force, progress=told)
