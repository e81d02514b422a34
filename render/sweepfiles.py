"""The render command's job: one WAV file per design, and the manifest."""

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from presolder.models.errors import InputError
from presolder.models.knob import KnobPath
from presolder.models.loudness import integrated_loudness
from presolder.models.matching import shared_gain_db
from presolder.models.network import Design, Network, Parallel, Series, format_network
from presolder.models.response import decibels
from presolder.models.rig import Rig
from presolder.models.sweep import sample_count, sweep_blocks
from presolder.render.audio import Bits, Recording, write_audio
from presolder.render.folder import file_stems, new_folder
from presolder.render.levels import rounded_level
from presolder.render.rigvalues import rig_values
from presolder.render.stages import ReadyStages, Stages, make_ready

_SCRATCH_FRAMES = 1 << 16


@dataclass(frozen=True, eq=False)
class SweepJob:
    """Everything that one render needs.

    Attributes
    ----------
    recording : Recording
    rig : Rig
    designs : tuple of Design
    path : KnobPath
    bits : {"16", "24", "float"}
    gain_db : float or None
        Gain applied to every design; None sets the loudest peak to -1 dBFS.
    stages : Stages
        What follows the control chain.
    """

    recording: Recording
    rig: Rig
    designs: tuple[Design, ...]
    path: KnobPath
    bits: Bits = "24"
    gain_db: float | None = None
    stages: Stages = field(default_factory=Stages)


def render_sweep(
    job: SweepJob, out: Path, *, force: bool, progress: Callable[[int], None]
) -> dict[str, Any]:
    """Render every design and write ``out/sweep/*.wav`` and ``out/manifest.json``.

    Parameters
    ----------
    job : SweepJob
        What to render.
    out : Path
        The output folder.
    force : bool
        Whether files in it may be replaced.
    progress : callable
        Called with the number of samples done since the last call; each
        sample counts once when rendered and once when written, per design.

    Returns
    -------
    dict
        The manifest.

    Raises
    ------
    InputError
        If the folder cannot be used, or a fixed gain would clip.
    """
    with new_folder(out, force=force) as folder:
        ready = make_ready(job.stages, job.recording, job.rig)
        scratch = [folder / f"{i}.scratch" for i in range(len(job.designs))]
        _render_to_scratch(job, ready.rig, scratch, progress)
        peaks = [_after_chain(job, ready, raw) for raw in scratch]
        gain_db = _choose_gain(job, peaks)
        (folder / "sweep").mkdir()
        stems = file_stems([design.name for design in job.designs])
        files = []
        for design, stem, raw, peak in zip(job.designs, stems, scratch, peaks, strict=True):
            name = f"sweep/{stem}.wav"
            loudness = _write_file(job, raw, folder / name, gain_db)
            raw.unlink()
            progress(sample_count(job.path, job.recording.sample_rate_hz))
            files.append(
                {
                    "file": name,
                    "design": design.name,
                    "sample_peak_dbfs": rounded_level(float(decibels(peak)) + gain_db),
                    "integrated_lufs": rounded_level(loudness),
                }
            )
        manifest = _manifest(job, ready, gain_db, files)
        text = json.dumps(manifest, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
        (folder / "manifest.json").write_text(text, encoding="utf-8")
    return manifest


def _render_to_scratch(
    job: SweepJob, rig: Rig, scratch: list[Path], progress: Callable[[int], None]
) -> None:
    """Render the control chain into raw float64 files, a file a design.

    Files, because the shared gain is known only when all designs are done.
    """
    recording = job.recording
    for path in scratch:
        path.touch()
    for blocks in sweep_blocks(
        recording.samples, recording.sample_rate_hz, rig, job.designs, job.path
    ):
        for block, path in zip(blocks, scratch, strict=True):
            # Plain writes: on a full disk a memory map would end the process.
            with path.open("ab") as file:
                file.write(np.ascontiguousarray(block.T).tobytes())
            progress(block.shape[1])


def _raw_blocks(job: SweepJob, raw: Path) -> Iterator[NDArray[np.float64]]:
    channels = job.recording.samples.shape[0]
    with raw.open("rb") as file:
        while chunk := file.read(_SCRATCH_FRAMES * channels * 8):
            # A copy, since the compiled loops take writable arrays only.
            yield np.frombuffer(chunk).reshape(-1, channels).T.copy()


def _after_chain(job: SweepJob, ready: ReadyStages, raw: Path) -> float:
    """Run the stages after the chain, file to file, and return the peak."""
    peak = 0.0
    if ready.none:
        for block in _raw_blocks(job, raw):
            peak = max(peak, float(np.abs(block).max()))
        return peak
    done = raw.with_suffix(".done")
    with done.open("wb") as file:
        for block in ready.through(_raw_blocks(job, raw)):
            peak = max(peak, float(np.abs(block).max()))
            file.write(np.ascontiguousarray(block.T).tobytes())
    done.replace(raw)
    return peak


def _choose_gain(job: SweepJob, peaks: list[float]) -> float:
    loudest = float(decibels(max(peaks)))
    if job.gain_db is None:
        return shared_gain_db([loudest])
    if job.bits != "float" and loudest + job.gain_db > 0:
        design = job.designs[int(np.argmax(peaks))]
        raise InputError(
            f"--gain-db {job.gain_db:g} would clip design {design.name!r} by"
            f" {loudest + job.gain_db:.2f} dB; at most {math.floor(-loudest * 100) / 100:g} dB"
            " fits, or use --bits float"
        )
    return job.gain_db


def _write_file(job: SweepJob, raw: Path, path: Path, gain_db: float) -> float | None:
    rate = job.recording.sample_rate_hz
    gain = 10.0 ** (gain_db / 20.0)

    def scaled() -> Iterator[NDArray[np.float64]]:
        return (block * gain for block in _raw_blocks(job, raw))

    write_audio(path, scaled(), rate, job.recording.samples.shape[0], job.bits)
    return integrated_loudness(scaled(), rate)


def _manifest(
    job: SweepJob, ready: ReadyStages, gain_db: float, files: list[dict[str, Any]]
) -> dict[str, Any]:
    recording = job.recording
    wanted = sample_count(job.path, recording.sample_rate_hz)
    rig = rig_values(ready.rig)
    return {
        "presolder": version("presolder"),
        "input": {
            "file": recording.name,
            "sha256": recording.sha256,
            "sample_rate_hz": recording.sample_rate_hz,
            "channels": recording.samples.shape[0],
            "samples": recording.samples.shape[1],
            "fitted": describe_fit(recording, job.path),
        },
        "output": {"samples": wanted, "bits": job.bits, "gain_db": round(gain_db, 6)},
        "rig": rig,
        "designs": [
            {
                "name": design.name,
                "title": design.title,
                "expression": format_network(design.network) or None,
                "parts": _parts(design.network),
            }
            for design in job.designs
        ],
        "knob": {"time_s": list(job.path.times_s), "dial": list(job.path.dials)},
        "after": ready.described(),
        "files": files,
    }


def _parts(network: Network | None) -> dict[str, Any] | None:
    """The network as nested lists and base-unit numbers."""
    if network is None:
        return None
    kind = type(network).__name__.lower()
    if isinstance(network, Series | Parallel):
        return {kind: [_parts(part) for part in network.parts]}
    return {kind: asdict(network)}


def describe_fit(recording: Recording, path: KnobPath) -> str:
    """Say in words how the take was made to last as long as the knob path."""
    seconds = path.duration_s
    have = recording.samples.shape[1]
    wanted = sample_count(path, recording.sample_rate_hz)
    if wanted == have:
        return f"as it is, {seconds:.2f} s"
    if wanted < have:
        return f"cut from {recording.duration_s:.2f} s to {seconds:.2f} s"
    return f"looped with crossfades from {recording.duration_s:.2f} s to {seconds:.2f} s"
