"""One WAV file per design while the knob turns, and the manifest of what went in."""

import json
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import Any

import numpy as np

from presolder.models.audio.ends import faded
from presolder.models.audio.knob import KnobPath, whole_dials
from presolder.models.audio.loop import sounding_count
from presolder.models.audio.loudness import gated_loudness, hop_powers, loudest_lufs
from presolder.models.audio.matching import DIRT_OVER_CLEAN_LU, clean_lufs, shared_gain_db
from presolder.models.audio.renderer import sample_count
from presolder.models.audio.stages import Voice, evenly_driven
from presolder.models.cores import side_by_side
from presolder.models.decibels import amplitude, decibels, power
from presolder.models.errors import InputError
from presolder.models.instrument.network import Design, Network, Parallel, Series
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import unlike_bare
from presolder.models.typing import Array
from presolder.render.files.audio import Bits, write_audio
from presolder.render.files.cues import write_cues
from presolder.render.files.folder import MANIFEST, file_stems, new_folder
from presolder.render.files.tags import Tags
from presolder.render.files.take import Take
from presolder.render.listening.after import After, join
from presolder.render.listening.comparisons import Comparing, comparisons, with_bare
from presolder.render.report.numbers import rounded_level
from presolder.render.report.rigs import design_plain, rig_plain
from presolder.render.report.take import null_plain, remarks

Scratch = SpooledTemporaryFile[bytes]
_SCRATCH_FRAMES = 1 << 16
# So much of what a job keeps stays in memory.
_SCRATCH_BYTES = 96_000_000
# Below these all is nearly silent.
_UNLIKE_DIALS = np.arange(3.0, 10.0)


@dataclass(frozen=True, eq=False)
class SweepJob:
    """Everything that one render needs.

    Attributes
    ----------
    recording : Take
    ear : Ear
        The rig, into its dirt, in a situation; it tells where each design is most
        unlike the bare pot.
    designs : tuple of Design
    path : KnobPath
    bits : {"16", "24", "float"}
    gain_db : float or None
        Gain applied to every design; None sets the loudest peak to -1 dBFS.
    after : After
        What follows the control chain.
    comparing : Comparing
        What to make beside the sweeps.
    """

    recording: Take
    ear: Ear
    designs: tuple[Design, ...]
    path: KnobPath
    bits: Bits = "24"
    gain_db: float | None = None
    after: After = field(default_factory=After)
    comparing: Comparing = field(default_factory=Comparing)

    @property
    def rig(self) -> Rig:
        """The guitar."""
        return self.ear.rig

    @property
    def work_units(self) -> int:
        """What `write_sweeps` reports in all.

        Each sample once rendered and once written, and once in what is made beside.
        """
        swept = 2 * len(self.designs) * sample_count(self.path, self.recording.sample_rate_hz)
        dials = len(self.comparing.held_at) if self.comparing.wanted else 0
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
    with new_folder(out, force=force) as folder, ExitStack() as kept:
        voices = evenly_driven(
            [join(one.recording, one.rig, one.designs, one.after) for one in jobs]
        )
        rooms = [""] if len(jobs) == 1 else file_stems([one.ear.name for one in jobs])
        swept = [
            _sweep(job, heard, folder / room, kept, progress)
            for job, heard, room in zip(jobs, voices, rooms, strict=True)
        ]
        manifests = [_finish(one, _choose_gain(one, swept), progress) for one in swept]
        manifest = manifests[0] if len(jobs) == 1 else _together(jobs, rooms, manifests)
        text = json.dumps(manifest, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
        (folder / MANIFEST).write_text(text, encoding="utf-8")
    return manifest


@dataclass(frozen=True, eq=False)
class _Swept:
    """A job with its audio in scratch, before any gain.

    Kept, because the shared gain is known only when all designs are done.
    """

    job: SweepJob
    heard: Voice
    folder: Path
    scratch: tuple[Scratch, ...]
    measured: tuple["_Measured", ...]

    @property
    def peak(self) -> float:
        """The highest of all designs."""
        return max(one.peak for one in self.measured)


@dataclass(frozen=True, eq=False)
class _Measured:
    """Peak of a design's audio, and its loudness as `hop_powers` has it."""

    peak: float
    powers: Array


def _sweep(
    job: SweepJob, heard: Voice, folder: Path, kept: ExitStack, progress: Callable[[int], None]
) -> _Swept:
    folder.mkdir(exist_ok=True)

    def scratch() -> Scratch:
        return kept.enter_context(_scratch(job, folder))

    raw = [scratch() for _ in job.designs]
    _render_to_scratch(heard, job, raw, progress)
    done = side_by_side(lambda one: _after_chain(job, heard, one, scratch), raw)
    audio, measured = zip(*done, strict=True)
    return _Swept(job, heard, folder, audio, measured)


def _finish(one: _Swept, gain_db: float, progress: Callable[[int], None]) -> dict[str, Any]:
    """Write a job's files with their gain, and say what is in them."""
    job = one.job
    files = _write_files(one, gain_db, progress)
    manifest = _manifest(job, one.heard, gain_db, files)
    if job.comparing.wanted:
        manifest["comparisons"] = {
            "dials": list(job.comparing.held_at),
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
            {"name": job.ear.name, "folder": room} | manifest
            for job, room, manifest in zip(jobs, rooms, manifests, strict=True)
        ],
    }


def _scratch(job: SweepJob, folder: Path) -> Scratch:
    """Room for a design's audio as raw numbers: memory, and a file beyond some of it."""
    # Of the system's files without a name, which go with the run however it ends.
    return SpooledTemporaryFile(_SCRATCH_BYTES // (2 * len(job.designs)), dir=str(folder))


def _render_to_scratch(
    heard: Voice, job: SweepJob, scratch: Sequence[Scratch], progress: Callable[[int], None]
) -> None:
    """Render the control chain, a design into each."""
    for blocks in heard.along(job.path, job.recording.samples):
        for block, file in zip(blocks, scratch, strict=True):
            # Plain writes: on a full disk a memory map would end the process.
            file.write(np.ascontiguousarray(block.T).tobytes())
            progress(block.shape[1])


def _raw_blocks(job: SweepJob, raw: Scratch) -> Iterator[Array]:
    channels = job.recording.samples.shape[0]
    raw.seek(0)
    while chunk := raw.read(_SCRATCH_FRAMES * channels * 8):
        # A copy, since the compiled loops take arrays of their own only.
        yield np.frombuffer(chunk).reshape(-1, channels).T.copy()


def _after_chain(
    job: SweepJob, heard: Voice, raw: Scratch, scratch: Callable[[], Scratch]
) -> tuple[Scratch, _Measured]:
    """Run the stages after the chain, and measure what comes out; where it is kept."""
    peak = 0.0
    done = raw if heard.stages.nothing_after else scratch()

    rate = job.recording.sample_rate_hz

    def kept() -> Iterator[Array]:
        for block in heard.through(_raw_blocks(job, raw)):
            if done is not raw:
                done.write(np.ascontiguousarray(block.T).tobytes())
            yield block

    def measured() -> Iterator[Array]:
        # As it will be written.
        nonlocal peak
        for block in faded(kept(), sample_count(job.path, rate), rate):
            peak = max(peak, float(block.max()), -float(block.min()))
            yield block

    powers = hop_powers(measured(), rate)
    if done is not raw:
        raw.close()
    return done, _Measured(peak, powers)


def _choose_gain(one: _Swept, swept: Sequence[_Swept]) -> float:
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
    one: _Swept, gain_db: float, progress: Callable[[int], None]
) -> list[dict[str, Any]]:
    job = one.job
    (one.folder / "sweep").mkdir()
    stems = file_stems([design.name for design in job.designs])

    def write(one_design: tuple[Design, str, Scratch, _Measured]) -> dict[str, Any]:
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
            "most_unlike_bare_at": _most_unlike(job, design),
        }

    return list(
        side_by_side(write, zip(job.designs, stems, one.scratch, one.measured, strict=True))
    )


def _write_file(job: SweepJob, raw: Scratch, path: Path, gain_db: float, tags: Tags) -> None:
    gain = amplitude(gain_db)
    rate, channels = job.recording.sample_rate_hz, job.recording.samples.shape[0]
    blocks = faded(_raw_blocks(job, raw), sample_count(job.path, rate), rate)
    scaled = (block * gain for block in blocks)
    write_audio(path, scaled, rate, channels, job.bits, tags)
    marks = [(round(time_s * rate), f"dial {dial}") for time_s, dial in whole_dials(job.path)]
    write_cues(path, [(at, name) for at, name in marks if at < sample_count(job.path, rate)])


def _tags(job: SweepJob, design: Design, dial: str, what: str, track: int) -> Tags:
    """What a rendered file says of itself, its maker apart."""
    rig = job.rig.title or job.rig.name
    rig = f"{rig}: {job.ear.situation}" if job.ear.situation else rig
    return Tags(f"{design.name}: {what}", design.name, dial, rig, "presolder", track)


def _most_unlike(job: SweepJob, design: Design) -> float | None:
    """The dial at which ears notice the design most beside the bare pot; None if nowhere."""
    if design.network is None:
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
            "remarks": list(remarks(recording, job.rig)),
            "null_db": null_plain(heard.renderer.null_db),
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
