"""Packs of listening samples to send."""

import os
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from presolder._asked import (
    SWEEP,
    DesignsLike,
    DirtLike,
    Numbers,
    Progress,
    RigLike,
    TakeLike,
    asked_designs,
    asked_dirts,
    asked_ear,
    asked_places,
    asked_take,
    counted,
)
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.stairs import DIALS, PHRASE_SECONDS
from presolder.models.audio.take import folded
from presolder.models.instrument.designs import short_list
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.player import Playing
from presolder.models.judging.ear import LISTENING_LEVEL_DB
from presolder.render.files.ffmpeg import Format
from presolder.render.files.folder import require_free_pack
from presolder.render.listening.after import After
from presolder.render.listening.comparisons import Comparing
from presolder.render.listening.job import PackJob, Setting
from presolder.render.listening.pack import work_units, write_pack, write_single_file

HELD = (10.0, 8.0, 6.0, 4.0, 2.0)


def pack(
    out: str | os.PathLike[str],
    take: TakeLike,
    rig: RigLike | Sequence[Situation],
    designs: DesignsLike | None = None,
    *,
    dials: Iterable[float] = HELD,
    sweep: KnobPath = SWEEP,
    dirt: DirtLike | None = None,
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
        one that ends in ``.html``. ``-`` sends that file to standard output.
    take, dirt, speaker, hum_db
        As for `render`; the take is at most 30 s long.
    rig : Rig, str or sequence of Situation
        As for `render_files`; the listener changes between several situations
        while it plays.
    designs : Design, str or iterable of them, optional
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
    path, places, recording = Path(out), asked_places(rig), asked_take(take)
    require_free_pack(path, single_file=single_file, force=force)
    found, fed = places[0].rig, asked_dirts(rig, places, dirt)
    heard_by = (plays, judged_dials, recording, listening_level, tone_weight, speaker)
    settings = tuple(
        _setting(place, After(one, speaker, hum_db), heard_by)
        for place, one in zip(places, fed, strict=True)
    )
    chosen = short_list(found.volume) if designs is None else asked_designs(designs, found)
    comparing = Comparing(stairs, beside_bare, tuple(map(float, stair_dials)), phrase_s)
    job = PackJob(
        replace(recording, samples=folded(recording.samples)), settings, chosen, sweep,
        tuple(map(float, dials)), comparing, workshop, note, recordings,
    )  # fmt: skip
    told = counted(progress, work_units(job))
    common: dict[str, Any] = {"listening": listening, "force": force, "progress": told}
    if single_file:
        made = write_single_file(job, path, allow_large=allow_large, **common)
        return {"page": str(path), "rig": found.name} | made
    return write_pack(job, path, light=light, **common)


def _setting(place: Situation, after: After, heard_by: tuple[Any, ...]) -> Setting:
    """A situation with what follows it, and the ear that judges it there."""
    ear = asked_ear(replace(place.rig, dirt=after.dirt), *heard_by)
    return Setting(place.name, place.rig, after, ear, place.weight)
