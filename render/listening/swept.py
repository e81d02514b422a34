"""Sweeps of a job before any gain: rendered into scratch, and measured there."""

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import SpooledTemporaryFile

import numpy as np

from presolder.models.audio.ends import faded
from presolder.models.audio.knob import KnobPath, whole_dials
from presolder.models.audio.loudness import hop_powers, loudest_lufs
from presolder.models.audio.matching import DIRT_OVER_CLEAN_LU, clean_lufs, shared_gain_db
from presolder.models.audio.renderer import sample_count
from presolder.models.audio.stages import Voice, evenly_driven
from presolder.models.cores import side_by_side
from presolder.models.decibels import amplitude, decibels
from presolder.models.errors import InputError
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.judging.beside import BesideBare, beside_bare, window_powers, windows
from presolder.models.judging.ear import LISTENING_LEVEL_DB
from presolder.models.typing import Array
from presolder.render.files.audio import Bits
from presolder.render.files.take import Take
from presolder.render.listening.after import After, join
from presolder.render.listening.comparisons import Comparing

Scratch = SpooledTemporaryFile[bytes]
_SCRATCH_FRAMES = 1 << 16
# So much of what a job keeps stays in memory.
_SCRATCH_BYTES = 96_000_000


@dataclass(frozen=True, eq=False)
class SweepJob:
    """Everything that one render needs.

    Attributes
    ----------
    recording : Take
    situation : Situation
        The rig, into its dirt.
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
    situation: Situation
    designs: tuple[Design, ...]
    path: KnobPath
    bits: Bits = "24"
    gain_db: float | None = None
    after: After = field(default_factory=After)
    comparing: Comparing = field(default_factory=Comparing)

    @property
    def rig(self) -> Rig:
        """The guitar."""
        return self.situation.rig

    @property
    def work_units(self) -> int:
        """What `write_sweeps` reports in all.

        Each sample once rendered and once written, and once in what is made beside.
        """
        swept = 2 * len(self.designs) * self.sample_count
        dials = len(self.comparing.held_at) if self.comparing.wanted else 0
        return swept + dials * self.samples_at_a_dial

    @property
    def sample_count(self) -> int:
        """Of a sweep."""
        return sample_count(self.path, self.recording.sample_rate_hz)

    @property
    def samples_at_a_dial(self) -> int:
        """Of the phrase through every design."""
        rate = self.recording.sample_rate_hz
        phrase: int = min(round(self.comparing.phrase_s * rate), self.recording.samples.shape[1])
        return len(self.designs) * phrase


@dataclass(frozen=True, eq=False)
class Swept:
    """A job with its audio in scratch, before any gain.

    Kept, because the shared gain is known only when all designs are done.
    """

    job: SweepJob
    heard: Voice
    folder: Path
    scratch: tuple[Scratch, ...]
    measured: tuple["Measured", ...]

    @property
    def peak(self) -> float:
        """The highest of all designs."""
        return max(one.peak for one in self.measured)

    def blocks(self, index: int, gain_db: float) -> Iterator[Array]:
        """A design's audio as it is written, shape (channels, n) a block."""
        gain, rate = amplitude(gain_db), self.job.recording.sample_rate_hz
        raw = _raw_blocks(self.job, self.scratch[index])
        for block in faded(raw, self.job.sample_count, rate):
            yield block * gain


@dataclass(frozen=True, eq=False)
class Measured:
    """Peak of a design's audio, and its loudness as `hop_powers` has it."""

    peak: float
    powers: Array


def swept_in(
    jobs: Sequence[SweepJob],
    places: Sequence[Path],
    kept: ExitStack,
    progress: Callable[[int], None],
) -> list[Swept]:
    """Render jobs into scratch, and measure them.

    Parameters
    ----------
    jobs : sequence of SweepJob
        Those that feed the same dirt share its drive.
    places : sequence of Path
        A folder a job, made here.
    kept : ExitStack
        Holds the scratch.
    progress : callable
        Called with the samples done since the last call.
    """
    voices = evenly_driven([join(one.recording, one.rig, one.designs, one.after) for one in jobs])
    return [
        _sweep(job, heard, place, kept, progress)
        for job, heard, place in zip(jobs, voices, places, strict=True)
    ]


def _sweep(
    job: SweepJob, heard: Voice, folder: Path, kept: ExitStack, progress: Callable[[int], None]
) -> Swept:
    folder.mkdir(exist_ok=True)

    def scratch() -> Scratch:
        return kept.enter_context(_scratch(job, folder))

    raw = [scratch() for _ in job.designs]
    _render_to_scratch(heard, job, raw, progress)
    done = side_by_side(lambda one: _after_chain(job, heard, one, scratch), raw)
    audio, measured = zip(*done, strict=True)
    return Swept(job, heard, folder, audio, measured)


def beside_bare_pot(one: Swept) -> tuple[BesideBare | None, ...]:
    """Each design beside the bare pot while the knob turns; None where that is not rendered."""
    job, rate = one.job, one.job.recording.sample_rate_hz
    bare = next((i for i, design in enumerate(job.designs) if design.network is None), None)
    wanted = windows(job.path, rate)
    if bare is None or not wanted:
        return (None,) * len(job.designs)

    def powers(scratch: Scratch) -> Array:
        return window_powers(_raw_blocks(job, scratch), wanted, rate)

    lines = np.array(list(side_by_side(powers, one.scratch)))
    dials = [window.dial for window in wanted]
    return beside_bare(lines, bare, dials, LISTENING_LEVEL_DB)


def gain_of(one: Swept, swept: Sequence[Swept]) -> float:
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


def marks_of(job: SweepJob) -> list[tuple[int, str]]:
    """The samples at which the knob reaches each whole dial, named."""
    rate = job.recording.sample_rate_hz
    marks = [(round(time_s * rate), f"dial {dial}") for time_s, dial in whole_dials(job.path)]
    return [(at, name) for at, name in marks if at < job.sample_count]


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
    """A design's audio from its scratch, shape (channels, n) a block."""
    channels = job.recording.samples.shape[0]
    raw.seek(0)
    while chunk := raw.read(_SCRATCH_FRAMES * channels * 8):
        # A copy, since the compiled loops take arrays of their own only.
        yield np.frombuffer(chunk).reshape(-1, channels).T.copy()


def _after_chain(
    job: SweepJob, heard: Voice, raw: Scratch, scratch: Callable[[], Scratch]
) -> tuple[Scratch, Measured]:
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
        for block in faded(kept(), job.sample_count, rate):
            peak = max(peak, float(block.max()), -float(block.min()))
            yield block

    powers = hop_powers(measured(), rate)
    if done is not raw:
        raw.close()
    return done, Measured(peak, powers)
