"""Listening: renders in memory and in files."""

import os
from pathlib import Path
from typing import Any

from presolder._asked import (
    DesignsLike,
    DirtLike,
    Progress,
    RigLike,
    SituationsLike,
    TakeLike,
    asked_designs,
    asked_fed,
    asked_rig,
    asked_situations,
    asked_take,
    counted,
)
from presolder.models.audio.knob import SWEEP, KnobPath
from presolder.models.audio.stages import evenly_driven
from presolder.models.audio.stream import Stream, chain_of
from presolder.models.errors import InputError
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design
from presolder.render.files.audio import Bits
from presolder.render.files.folder import require_free_folder
from presolder.render.files.take import require_rate
from presolder.render.listening.after import After, join
from presolder.render.listening.audition import Audition, audition
from presolder.render.listening.comparisons import NOTHING_BESIDE
from presolder.render.listening.comparisons import Comparing as Comparing  # noqa: PLC0414
from presolder.render.listening.sweeps import write_sweeps
from presolder.render.listening.swept import SweepJob

LARGEST_GAIN_DB = 200.0


def render(
    take: TakeLike,
    rig: SituationsLike,
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
    take : Take, path, or array and rate
        Cut or looped to the length of the path. An array has the shape (n,),
        (channels, n) or (n, channels).
    rig : Rig, str, path or sequence of Situation
        The instrument, what it feeds, and how the take was made; by name or file in all
        of its situations.
    designs : Design, str or iterable of them, optional
        By default every built-in one.
    path : KnobPath
        From `turn` or `gesture`; by default a slow turn from 10 to 0.
    dirt : Dirt, Stage, str, path or callable, optional
        A clipping curve after the chain, or a circuit that the guitar feeds and
        is part of, as for `dirt`; its input then loads the guitar. By default
        what the rig feeds; "none" for nothing of the kind.
    speaker : str, optional
        ``"plain"``, or the path of an impulse response.
    hum_db : float, optional
        Hum and hiss, dB re the take's loudest second, -140 to 0.

    Returns
    -------
    Audition
        A mapping from design names (of several situations
        ``"situation/design"``) to arrays of shape (channels, n), full scale
        1.0, with ``sample_rate``, and the knob's ``dial`` and each design's
        ``level_db`` by sample. Start playback quiet: levels differ.

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
    situations, recording = asked_fed(asked_situations(rig), dirt), asked_take(take)
    chosen, after = asked_designs(designs, situations[0].rig), After(speaker, hum_db)
    voices = evenly_driven([join(recording, one.rig, chosen, after) for one in situations])
    names = [f"{one.name}/" if len(situations) > 1 else "" for one in situations]
    return audition(dict(zip(names, voices, strict=True)), recording.samples, path)


def stream(
    rig: RigLike,
    design: Design | str = "bare",
    sample_rate: float = 48_000,
    *,
    dirt: DirtLike | None = None,
    like: TakeLike | None = None,
) -> Stream:
    """A guitar to be played block by block, the knob known only as it comes.

    Parameters
    ----------
    rig : Rig, str or path
        And how what is played was captured.
    design : Design or str
    sample_rate : float
        Of what is played, in hertz.
    dirt : Dirt, Stage, str, path or callable, optional
        As for `render`.
    like : Take, path, or array and rate, optional
        A take of the same playing, by whose loudest second the dirt's drive is set; at
        the same rate. Wanted with a dirt.

    Returns
    -------
    Stream
        Its ``process(block, dial)`` takes and gives arrays of shape (n,); ``latency`` is by
        how many samples it is late. What comes out is `render` to -120 dB. Start quiet.

    Raises
    ------
    InputError
        If something given cannot be used.

    Notes
    -----
    The same steps as of `render` (Hairer and Wanner, Solving Ordinary Differential
    Equations, I, III.1, and II, IV.5), behind the same filters sample by sample.

    Examples
    --------
    >>> import numpy as np, presolder as ps
    >>> live = ps.stream("humbucker-500k", "series")
    >>> live.process(np.zeros(64), dial=7).shape
    (64,)
    """
    (situation,) = asked_fed((Situation("", asked_rig(rig).for_any_playing),), dirt)
    (chosen,) = asked_designs([design], situation.rig)
    fed = situation.rig.dirt
    require_rate("sample_rate", sample_rate)
    volts = 1.0
    if fed is not None:
        if like is None:
            raise InputError(f"{fed.kind} wants like=, a take by which its drive is set")
        taken = asked_take(like)
        if taken.sample_rate_hz != sample_rate:
            raise InputError(
                f"{taken.name}: {taken.sample_rate_hz:g} Hz, and the stream {sample_rate:g} Hz"
            )
        volts = join(taken, situation.rig, (chosen,), After()).volts_per_unit
    return Stream(chain_of(situation.rig, chosen, sample_rate, fed, volts), sample_rate)


def render_files(
    out: str | os.PathLike[str],
    take: TakeLike,
    rig: SituationsLike,
    designs: DesignsLike | None = None,
    path: KnobPath = SWEEP,
    *,
    dirt: DirtLike | None = None,
    speaker: str | None = None,
    hum_db: float | None = None,
    comparing: Comparing = NOTHING_BESIDE,
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
    rig : Rig, str, path or sequence of Situation
        As for `render`; of several situations each gets a folder.
    comparing : Comparing
        Stairs and A/B recordings to make too.
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
    situations, recording = asked_fed(asked_situations(rig), dirt), asked_take(take)
    chosen, after = asked_designs(designs, situations[0].rig), After(speaker, hum_db)
    jobs = tuple(
        SweepJob(recording, one, chosen, path, bits, gain_db, after, comparing)
        for one in situations
    )
    told = counted(progress, sum(job.work_units for job in jobs))
    return write_sweeps(jobs, Path(out), force=force, progress=told)
