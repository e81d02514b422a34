"""One WAV file per design while the knob turns, and the manifest of what went in."""

import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from presolder.models.audio.knob import KnobPath
from presolder.models.audio.loudness import integrated_loudness
from presolder.models.audio.matching import shared_gain_db
from presolder.models.audio.renderer import sample_count
from presolder.models.audio.stages import Voice, evenly_driven
from presolder.models.decibels import amplitude, decibels
from presolder.models.errors import InputError
from presolder.models.instrument.network import Design, Network, Parallel, Series
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import unlike_bare
from presolder.models.typing import Array
from presolder.render.files.audio import Bits, Recording, write_audio
from presolder.render.files.folder import MANIFEST, file_stems, files_in, new_folder
from presolder.render.listening.after import After, join
from presolder.render.listening.comparisons import Comparing, comparisons, with_bare
from presolder.render.report.numbers import rounded_level
from presolder.render.report.rigs import design_plain, rig_plain
from presolder.render.report.take import remarks

_SCRATCH_FRAMES = 1 << 16
# Below these all is nearly silent.
_UNLIKE_DIALS = np.arange(3.0, 10.0)


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
    after : After
        What follows the control chain.
    comparing : Comparing
        What to make beside the sweeps.
    ear : Ear or None
        Tells where each design is most unlike the bare pot.
    situation : str
        Of the guitar; names its folder where there are several.
    """

    recording: Recording
    rig: Rig
    designs: tuple[Design, ...]
    path: KnobPath
    bits: Bits = "24"
    gain_db: float | None = None
    after: After = field(default_factory=After)
    comparing: Comparing = field(default_factory=Comparing)
    ear: Ear | None = None
    situation: str = ""

    @property
    def work_units(self) -> int:
        """What `write_sweeps` reports in all.

        Each sample once rendered and once written, and once in what is made beside.
        """
        swept = 2 * len(self.designs) * sample_count(self.path, self.recording.sample_rate_hz)
        dials = len(self.comparing.dials) if self.comparing.wanted else 0
        return swept + dials * self.samples_at_a_dial

    @property
    def samples_at_a_dial(self) -> int:
        """Of the phrase through every design."""
        rate = self.recording.sample_rate_hz
        phrase: int = min(round(self.comparing.phrase_s * rate), self.recording.samples.shape[1])
        return len(self.designs) * phrase


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
    with new_folder(out, force=force) as folder:
        voices = evenly_driven(
            [join(one.recording, one.rig, one.designs, one.after) for one in jobs]
        )
        rooms = [""] if len(jobs) == 1 else file_stems([one.situation for one in jobs])
        swept = [
            _sweep(job, heard, folder / room, progress)
            for job, heard, room in zip(jobs, voices, rooms, strict=True)
        ]
        manifests = [_finish(one, _choose_gain(one, swept), progress) for one in swept]
        manifest = manifests[0] if len(jobs) == 1 else _together(jobs, rooms, manifests)
        manifest["written"] = files_in(folder, MANIFEST)
        text = json.dumps(manifest, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
        (folder / MANIFEST).write_text(text, encoding="utf-8")
    return manifest


@dataclass(frozen=True, eq=False)
class _Swept:
    """A job with its audio in scratch files, before any gain.

    Files, because the shared gain is known only when all designs are done.
    """

    job: SweepJob
    heard: Voice
    folder: Path
    scratch: list[Path]
    peaks: list[float]


def _sweep(job: SweepJob, heard: Voice, folder: Path, progress: Callable[[int], None]) -> _Swept:
    folder.mkdir(exist_ok=True)
    scratch = [folder / f"{i}.scratch" for i in range(len(job.designs))]
    _render_to_scratch(job, heard, scratch, progress)
    peaks = [_after_chain(job, heard, raw) for raw in scratch]
    return _Swept(job, heard, folder, scratch, peaks)


def _finish(one: _Swept, gain_db: float, progress: Callable[[int], None]) -> dict[str, Any]:
    """Write a job's files with their gain, and say what is in them."""
    job = one.job
    files = _write_files(job, one.folder, one.scratch, one.peaks, gain_db, progress)
    manifest = _manifest(job, one.heard, gain_db, files)
    if job.comparing.wanted:
        manifest["comparisons"] = {
            "dials": list(job.comparing.dials),
            "files": _write_trials(job, one.heard, one.folder, progress),
        }
    return manifest


def _together(
    jobs: Sequence[SweepJob], rooms: list[str], manifests: list[dict[str, Any]]
) -> dict[str, Any]:
    """The manifests of all situations as one; files are named from their own folders."""
    return {
        "presolder": version("presolder"),
        "situations": [
            {"name": job.situation, "folder": room} | manifest
            for job, room, manifest in zip(jobs, rooms, manifests, strict=True)
        ],
    }


def _render_to_scratch(
    job: SweepJob, heard: Voice, scratch: list[Path], progress: Callable[[int], None]
) -> None:
    """Render the control chain into raw float64 files, a file a design."""
    for path in scratch:
        path.touch()
    for blocks in heard.along(job.path, job.recording.samples):
        for block, path in zip(blocks, scratch, strict=True):
            # Plain writes: on a full disk a memory map would end the process.
            with path.open("ab") as file:
                file.write(np.ascontiguousarray(block.T).tobytes())
            progress(block.shape[1])


def _raw_blocks(job: SweepJob, raw: Path) -> Iterator[Array]:
    channels = job.recording.samples.shape[0]
    with raw.open("rb") as file:
        while chunk := file.read(_SCRATCH_FRAMES * channels * 8):
            # A copy, since the compiled loops take writable arrays only.
            yield np.frombuffer(chunk).reshape(-1, channels).T.copy()


def _after_chain(job: SweepJob, heard: Voice, raw: Path) -> float:
    """Run the stages after the chain, file to file, and return the peak."""
    peak = 0.0
    if heard.stages.nothing_after:
        for block in _raw_blocks(job, raw):
            peak = max(peak, float(np.abs(block).max()))
        return peak
    done = raw.with_suffix(".done")
    with done.open("wb") as file:
        for block in heard.through(_raw_blocks(job, raw)):
            peak = max(peak, float(np.abs(block).max()))
            file.write(np.ascontiguousarray(block.T).tobytes())
    done.replace(raw)
    return peak


def _choose_gain(one: _Swept, swept: Sequence[_Swept]) -> float:
    """What is asked for, or what brings the loudest peak of all that feed the same to its place."""
    job, peaks = one.job, one.peaks
    if job.gain_db is None:
        alike = [other.peaks for other in swept if other.job.after == job.after]
        return shared_gain_db([float(decibels(max(map(max, alike))))])
    loudest = float(decibels(max(peaks)))
    if job.bits != "float" and loudest + job.gain_db > 0:
        design = job.designs[int(np.argmax(peaks))]
        raise InputError(
            f"a gain of {job.gain_db:g} dB would clip design {design.name!r} by"
            f" {loudest + job.gain_db:.2f} dB; at most {math.floor(-loudest * 100) / 100:g} dB"
            ' fits, or use "float" samples'
        )
    return job.gain_db


def _write_files(
    job: SweepJob,
    folder: Path,
    scratch: list[Path],
    peaks: list[float],
    gain_db: float,
    progress: Callable[[int], None],
) -> list[dict[str, Any]]:
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
                "most_unlike_bare_at": _most_unlike(job, design),
            }
        )
    return files


def _write_file(job: SweepJob, raw: Path, path: Path, gain_db: float) -> float | None:
    rate = job.recording.sample_rate_hz
    gain = amplitude(gain_db)

    def scaled() -> Iterator[Array]:
        return (block * gain for block in _raw_blocks(job, raw))

    write_audio(path, scaled(), rate, job.recording.samples.shape[0], job.bits)
    return integrated_loudness(scaled(), rate)


def _most_unlike(job: SweepJob, design: Design) -> float | None:
    """The dial at which ears notice the design most beside the bare pot; None if nowhere."""
    if job.ear is None or design.network is None:
        return None
    moved = unlike_bare(job.ear, design.network, _UNLIKE_DIALS)
    most = int(np.argmax(moved.tone_db))
    return float(_UNLIKE_DIALS[most]) if moved.noticed[most] else None


def _write_trials(
    job: SweepJob, heard: Voice, folder: Path, progress: Callable[[int], None]
) -> list[dict[str, Any]]:
    designs = with_bare(job.designs)
    if designs != job.designs:
        with_it = join(job.recording, job.rig, designs, job.after)
        heard = replace(with_it, volts_per_unit=heard.volts_per_unit)
    take, rate = job.recording.samples, job.recording.sample_rate_hz
    stems = dict(zip(designs, file_stems([design.name for design in designs]), strict=True))
    entries = []
    made = comparisons(heard, take, job.comparing, lambda _: progress(job.samples_at_a_dial))
    for trial in made:
        room, ending = trial.folder_and_ending
        (folder / room).mkdir(exist_ok=True)
        name = f"{room}/{stems[trial.design]}{ending}.flac"
        write_audio(folder / name, [trial.strip.audio], rate, take.shape[0], "24")
        entries.append(trial.plain(name))
    return entries


def _manifest(
    job: SweepJob, heard: Voice, gain_db: float, files: list[dict[str, Any]]
) -> dict[str, Any]:
    recording = job.recording
    wanted = sample_count(job.path, recording.sample_rate_hz)
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
            "remarks": list(remarks(recording.samples, recording.sample_rate_hz, job.rig)),
        },
        "output": {"samples": wanted, "bits": job.bits, "gain_db": round(gain_db, 6)},
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


def fit_text(recording: Recording, path: KnobPath) -> str:
    """Say in words how the take was made to last as long as the knob path."""
    seconds = path.duration_s
    have = recording.sample_count
    wanted = sample_count(path, recording.sample_rate_hz)
    if wanted == have:
        return f"as it is, {seconds:.2f} s"
    if wanted < have:
        return f"cut from {recording.duration_s:.2f} s to {seconds:.2f} s"
    return f"looped with crossfades from {recording.duration_s:.2f} s to {seconds:.2f} s"
