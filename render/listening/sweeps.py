"""One WAV file per design while the knob turns, and the manifest of what went in."""

import json
import math
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from presolder.models.audio.ends import faded
from presolder.models.audio.knob import whole_dials
from presolder.models.audio.loudness import gated_loudness, loudest_lufs
from presolder.models.audio.matching import DIRT_OVER_CLEAN_LU, clean_lufs, shared_gain_db
from presolder.models.audio.renderer import sample_count
from presolder.models.audio.stages import Voice, evenly_driven
from presolder.models.cores import side_by_side
from presolder.models.decibels import amplitude, decibels, power
from presolder.models.errors import InputError
from presolder.models.instrument.network import Design
from presolder.models.judging.merit import most_unlike_bare_at
from presolder.render.files.audio import write_audio
from presolder.render.files.cues import write_cues
from presolder.render.files.folder import MANIFEST, file_stems, new_folder
from presolder.render.files.tags import Tags
from presolder.render.listening.after import join
from presolder.render.listening.comparisons import comparisons, with_bare
from presolder.render.listening.manifest import manifest_of, together
from presolder.render.listening.swept import Measured, Scratch, SweepJob, Swept, raw_blocks, sweep
from presolder.render.report.numbers import rounded_level


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
    with new_folder(out, force=force) as folder, ExitStack() as kept:
        voices = evenly_driven(
            [join(one.recording, one.rig, one.designs, one.after) for one in jobs]
        )
        rooms = [""] if len(jobs) == 1 else file_stems([one.ear.name for one in jobs])
        swept = [
            sweep(job, heard, folder / room, kept, progress)
            for job, heard, room in zip(jobs, voices, rooms, strict=True)
        ]
        manifests = [_finish(one, _choose_gain(one, swept), progress) for one in swept]
        manifest = manifests[0] if len(jobs) == 1 else together(jobs, rooms, manifests)
        text = json.dumps(manifest, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
        (folder / MANIFEST).write_text(text, encoding="utf-8")
    return manifest


def _finish(one: Swept, gain_db: float, progress: Callable[[int], None]) -> dict[str, Any]:
    """Write a job's files with their gain, and say what is in them."""
    job = one.job
    files = _write_files(one, gain_db, progress)
    manifest = manifest_of(job, one.heard, gain_db, files)
    if job.comparing.wanted:
        manifest["comparisons"] = {
            "dials": list(job.comparing.held_at),
            "files": _write_trials(job, one.heard, one.folder, progress),
        }
    return manifest


def _choose_gain(one: Swept, swept: Sequence[Swept]) -> float:
    """What is asked for, or what brings the loudest peak of all that feed the same to its place."""
    job = one.job
    if job.gain_db is None:
        alike = [other for other in swept if other.job.rig.dirt == job.rig.dirt]
        gain_db = shared_gain_db([float(decibels(max(other.peak for other in alike)))])
        if job.rig.dirt is None:
            return gain_db
        loudest = max(loudest_lufs(each.powers) for other in alike for each in other.measured)
        clean = clean_lufs(job.recording.samples, job.recording.sample_rate_hz)
        return min(gain_db, clean + DIRT_OVER_CLEAN_LU - loudest)
    loudest = float(decibels(one.peak))
    if job.bits != "float" and loudest + job.gain_db > 0:
        design = job.designs[int(np.argmax([each.peak for each in one.measured]))]
        raise InputError(
            f"a gain of {job.gain_db:g} dB would clip design {design.name!r} by"
            f" {loudest + job.gain_db:.2f} dB; at most {math.floor(-loudest * 100) / 100:g} dB"
            ' fits, or use "float" samples'
        )
    return job.gain_db


def _write_files(
    one: Swept, gain_db: float, progress: Callable[[int], None]
) -> list[dict[str, Any]]:
    job = one.job
    (one.folder / "sweep").mkdir()
    stems = file_stems([design.name for design in job.designs])

    def write(one_design: tuple[Design, str, Scratch, Measured]) -> dict[str, Any]:
        design, stem, raw, measured = one_design
        name = f"sweep/{stem}.wav"
        tags = _tags(job, design, "sweep", "sweep", stems.index(stem) + 1)
        _write_file(job, raw, one.folder / name, gain_db, tags)
        raw.close()
        progress(sample_count(job.path, job.recording.sample_rate_hz))
        return {
            "file": name,
            "design": design.name,
            "sample_peak_dbfs": rounded_level(float(decibels(measured.peak)) + gain_db),
            "integrated_lufs": rounded_level(gated_loudness(measured.powers * power(gain_db))),
            "most_unlike_bare_at": most_unlike_bare_at(job.ear, design.network),
        }

    return list(
        side_by_side(write, zip(job.designs, stems, one.scratch, one.measured, strict=True))
    )


def _write_file(job: SweepJob, raw: Scratch, path: Path, gain_db: float, tags: Tags) -> None:
    gain = amplitude(gain_db)
    rate, channels = job.recording.sample_rate_hz, job.recording.samples.shape[0]
    blocks = faded(raw_blocks(job, raw), sample_count(job.path, rate), rate)
    scaled = (block * gain for block in blocks)
    write_audio(path, scaled, rate, channels, job.bits, tags)
    marks = [(round(time_s * rate), f"dial {dial}") for time_s, dial in whole_dials(job.path)]
    write_cues(path, [(at, name) for at, name in marks if at < sample_count(job.path, rate)])


def _tags(job: SweepJob, design: Design, dial: str, what: str, track: int) -> Tags:
    """What a rendered file says of itself, its maker apart."""
    rig = job.rig.title or job.rig.name
    rig = f"{rig}: {job.ear.situation}" if job.ear.situation else rig
    return Tags(f"{design.name}: {what}", design.name, dial, rig, "presolder", track)


def _write_trials(
    job: SweepJob, heard: Voice, folder: Path, progress: Callable[[int], None]
) -> list[dict[str, Any]]:
    designs = with_bare(job.designs)
    if designs != job.designs:
        with_it = join(job.recording, job.rig, designs, job.after)
        heard = replace(with_it, volts_per_unit=heard.volts_per_unit)
    take, rate = job.recording.samples, job.recording.sample_rate_hz
    stems = dict(zip(designs, file_stems([design.name for design in designs]), strict=True))
    entries: list[dict[str, Any]] = []
    made = comparisons(heard, take, job.comparing, lambda _: progress(job.samples_at_a_dial))
    for trial in made:
        room, ending = trial.folder_and_ending
        (folder / room).mkdir(exist_ok=True)
        name = f"{room}/{stems[trial.design]}{ending}.flac"
        tags = _tags(job, trial.design, "several", trial.said, len(entries) + 1)
        write_audio(folder / name, [trial.strip.audio], rate, take.shape[0], "24", tags)
        entries.append(trial.plain(name))
    return entries
