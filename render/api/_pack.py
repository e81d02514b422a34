"""Packs of listening samples to send."""

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

from presolder._asked import (
    AS_USUAL,
    DesignsLike,
    DirtLike,
    Judging,
    Progress,
    SituationsLike,
    TakeLike,
    asked_designs,
    asked_ears,
    asked_fed,
    asked_situations,
    asked_take,
    counted,
)
from presolder.models.audio.flaws import folded
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import short_list
from presolder.render.files.folder import require_free_pack
from presolder.render.listening.after import After
from presolder.render.listening.job import Contents as Contents  # noqa: PLC0414
from presolder.render.listening.job import PackJob
from presolder.render.listening.pack import work_units, write_pack, write_single_file


def pack(
    out: str | os.PathLike[str],
    take: TakeLike,
    rig: SituationsLike,
    designs: DesignsLike | None = None,
    contents: Contents = Contents(),  # noqa: B008
    judging: Judging = AS_USUAL,
    *,
    dirt: DirtLike | None = None,
    hum_db: float | None = None,
    force: bool = False,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Make a pack of listening samples with a page to play them.

    Parameters
    ----------
    out : str or path
        A folder to make, or a file that ends in ``.zip``; of a single file one
        that ends in ``.html``. ``-`` sends that file to standard output.
    take, dirt, hum_db
        As for `render`; the take is at most 30 s long.
    rig : Rig, str, path or sequence of Situation
        As for `render_files`; the listener changes between several situations
        while it plays.
    designs : Design, str or iterable of them, optional
        By default a few of the built-in ones that are easily told apart.
    contents : Contents
        What the pack holds.
    judging : Judging
        What the page judges the designs by, on this take into this dirt; through its
        loudspeaker, if there is one, all is played.
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
    path, recording = Path(out), asked_take(take)
    if judging.take is not None:
        raise InputError("judging.take has no use here; the take of the pack is what is heard")
    require_free_pack(path, single_file=contents.single_file, force=force)
    situations = asked_fed(asked_situations(rig), dirt)
    ears = asked_ears(situations, replace(judging, take=recording))
    found = ears[0].rig
    chosen = short_list(found) if designs is None else asked_designs(designs, found)
    folded_take = replace(recording, samples=folded(recording.samples))
    job = PackJob(folded_take, ears, chosen, After(judging.speaker, hum_db), contents)
    told = counted(progress, work_units(job))
    if contents.single_file:
        made = write_single_file(job, path, force=force, progress=told)
        return {"page": str(path), "rig": found.name} | made
    return write_pack(job, path, force=force, progress=told)
