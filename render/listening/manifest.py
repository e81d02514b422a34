"""What went into a render and what came out, for its manifest."""

from collections.abc import Sequence
from dataclasses import asdict
from importlib.metadata import version
from typing import Any

from presolder.models.audio.knob import KnobPath
from presolder.models.audio.loop import sounding_count
from presolder.models.audio.loudness import gated_loudness
from presolder.models.audio.renderer import sample_count
from presolder.models.decibels import decibels, power
from presolder.models.instrument.network import Network, Parallel, Series
from presolder.render.files.folder import file_stems
from presolder.render.files.take import Take
from presolder.render.listening.swept import SweepJob, Swept, beside_bare_pot
from presolder.render.report.beside import beside_plain
from presolder.render.report.numbers import rounded_level
from presolder.render.report.rigs import design_plain, rig_plain
from presolder.render.report.take import null_plain, remarks


def together(
    jobs: Sequence[SweepJob], rooms: list[str], manifests: list[dict[str, Any]]
) -> dict[str, Any]:
    """The manifests of all situations as one; files are named from their own folders."""
    return {
        "presolder": version("presolder"),
        "situations": [
            {"name": job.situation.name, "folder": room} | manifest
            for job, room, manifest in zip(jobs, rooms, manifests, strict=True)
        ],
    }


def file_names(job: SweepJob) -> list[str]:
    """What a job's sweeps are called."""
    return [f"sweep/{stem}.wav" for stem in file_stems([design.name for design in job.designs])]


def judged(one: Swept, gain_db: float) -> list[dict[str, Any]]:
    """What each file is: its levels, and how it sounds beside the bare pot."""
    return [
        {
            "file": name,
            "design": design.name,
            "sample_peak_dbfs": rounded_level(float(decibels(measured.peak)) + gain_db),
            "integrated_lufs": rounded_level(gated_loudness(measured.powers * power(gain_db))),
            **beside_plain(beside),
        }
        for name, design, measured, beside in zip(
            file_names(one.job), one.job.designs, one.measured, beside_bare_pot(one), strict=True
        )
    ]


def manifest_of(one: Swept, gain_db: float, files: list[dict[str, Any]]) -> dict[str, Any]:
    """What went into a job and what came out of it, for its ``manifest.json``."""
    job, heard = one.job, one.heard
    recording = job.recording
    return {
        "presolder": version("presolder"),
        "input": {
            "file": recording.name,
            "sha256": recording.sha256,
            "sample_rate_hz": recording.sample_rate_hz,
            "channels": recording.samples.shape[0],
            "samples": recording.sample_count,
            "cut": recording.cut,
            "fitted": fit_text(recording, job.path),
            "remarks": list(remarks(recording, job.rig)),
            "null_db": null_plain(heard.renderer.null_db),
        },
        "output": {"samples": job.sample_count, "bits": job.bits, "gain_db": round(gain_db, 6)},
        "rig": rig_plain(heard.renderer.rig),
        "designs": [design_plain(d) | {"parts": _parts_plain(d.network)} for d in job.designs],
        "knob": {"time_s": list(job.path.times_s), "dial": list(job.path.dials)},
        "after": job.after.plain(heard),
        "files": files,
    }


def _parts_plain(network: Network | None) -> dict[str, Any] | None:
    """The network as nested lists and base-unit numbers."""
    if network is None:
        return None
    kind = type(network).__name__.lower()
    if isinstance(network, Series | Parallel):
        return {kind: [_parts_plain(part) for part in network.parts]}
    return {kind: asdict(network)}


def fit_text(recording: Take, path: KnobPath) -> str:
    """Say in words how the take was made to last as long as the knob path."""
    seconds, rate = path.duration_s, recording.sample_rate_hz
    have = recording.sample_count
    wanted = sample_count(path, rate)
    sounding = sounding_count(have, wanted, rate)
    if wanted == have:
        return f"as it is, {seconds:.2f} s"
    if wanted < have:
        return f"cut from {recording.duration_s:.2f} s to {seconds:.2f} s"
    if sounding < wanted:
        times = f"looped to {sounding / rate:.2f} s" if sounding > have else f"{have / rate:.2f} s"
        return f"{times}, then silence to {seconds:.2f} s"
    return f"looped with crossfades from {recording.duration_s:.2f} s to {seconds:.2f} s"
