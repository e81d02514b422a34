"""One WAV file per design while the knob turns, and the manifest of what went in."""

import json
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

from presolder.models.cores import side_by_side
from presolder.models.instrument.network import Design
from presolder.render.files.audio import write_audio
from presolder.render.files.cues import write_cues
from presolder.render.files.folder import MANIFEST, file_stems, new_folder
from presolder.render.files.tags import Tags
from presolder.render.listening.after import join
from presolder.render.listening.comparisons import Trial, comparisons, with_bare
from presolder.render.listening.manifest import file_names, judged, manifest_of, together
from presolder.render.listening.swept import SweepJob, Swept, gain_of, marks_of, swept_in


def write_sweeps(
    jobs: Sequence[SweepJob],
    out: Path,
    *,
    force: bool,
    progress: Callable[[int], None] = lambda _: None,
) -> dict[str, Any]:
    """Render every design and write ``out/sweep/*.wav`` and ``out/manifest.json``.

    Parameters
    ----------
    jobs : sequence of SweepJob
        What to render: one, or the situations of a guitar, which get a folder
        each. Those that feed the same dirt share gain and drive.
    out : Path
        The output folder.
    force : bool
        Whether files in it may be replaced.
    progress : callable
        Called with the number of units done since the last call.

    Returns
    -------
    dict
        The manifest; of several jobs, ``situations`` has theirs.

    Raises
    ------
    InputError
        If the folder cannot be used, or a fixed gain would clip.
    """
    rooms = [""] if len(jobs) == 1 else file_stems([one.situation.name for one in jobs])
    with new_folder(out, force=force) as folder, ExitStack() as kept:
        places = [folder / room for room in rooms]
        swept = swept_in(jobs, places, kept, progress)
        gains_db = [gain_of(one, swept) for one in swept]
        told = [judged(one, gain_db) for one, gain_db in zip(swept, gains_db, strict=True)]
        for one, gain_db in zip(swept, gains_db, strict=True):
            _write_files(one, gain_db, progress)
        manifests = [
            manifest_of(one, gain_db, files)
            for one, gain_db, files in zip(swept, gains_db, told, strict=True)
        ]
        for one, manifest in zip(swept, manifests, strict=True):
            if one.job.comparing.wanted:
                manifest["comparisons"] = _write_trials(one, progress)
        whole = manifests[0] if len(jobs) == 1 else together(jobs, rooms, manifests)
        text = json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
        (folder / MANIFEST).write_text(text, encoding="utf-8")
    return whole


def _write_files(one: Swept, gain_db: float, progress: Callable[[int], None]) -> None:
    """A WAV file a design, with a marker at each whole dial."""
    job = one.job
    rate, channels = job.recording.sample_rate_hz, job.recording.samples.shape[0]
    marks = marks_of(job)
    (one.folder / "sweep").mkdir()

    def write(index: int) -> None:
        path = one.folder / file_names(job)[index]
        tags = _tags(job, job.designs[index], "sweep", "sweep", index + 1)
        write_audio(path, one.blocks(index, gain_db), rate, channels, job.bits, tags)
        write_cues(path, marks)
        one.scratch[index].close()
        progress(job.sample_count)

    list(side_by_side(write, range(len(job.designs))))


def _tags(job: SweepJob, design: Design, dial: str, what: str, track: int) -> Tags:
    """What a rendered file says of itself, its maker apart."""
    rig = job.rig.title or job.rig.name
    rig = f"{rig}: {job.situation.name}" if job.situation.name else rig
    return Tags(f"{design.name}: {what}", design.name, dial, rig, "presolder", track)


def _write_trials(one: Swept, progress: Callable[[int], None]) -> dict[str, Any]:
    """Stairs and A/B recordings, and what they are."""
    job, heard, folder = one.job, one.heard, one.folder
    designs = with_bare(job.designs)
    if designs != job.designs:
        with_it = join(job.recording, job.rig, designs, job.after)
        heard = replace(with_it, volts_per_unit=heard.volts_per_unit)
    take, rate = job.recording.samples, job.recording.sample_rate_hz
    stems = dict(zip(designs, file_stems([design.name for design in designs]), strict=True))

    def write(numbered: tuple[int, Trial]) -> dict[str, Any]:
        number, trial = numbered
        room, ending = trial.folder_and_ending
        (folder / room).mkdir(exist_ok=True)
        name = f"{room}/{stems[trial.design]}{ending}.flac"
        tags = _tags(job, trial.design, "several", trial.said, number)
        write_audio(folder / name, trial.strip.blocks(), rate, take.shape[0], "24", tags)
        return trial.plain(name)

    made = comparisons(heard, take, job.comparing, lambda _: progress(job.samples_at_a_dial))
    entries = list(side_by_side(write, enumerate(made, 1)))
    return {"dials": list(job.comparing.held_at), "files": entries}
