"""Sweeps of a job before any gain: rendered into scratch, and measured there."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import SpooledTemporaryFile

import numpy as np

from presolder.models.audio.ends import faded
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.loudness import hop_powers
from presolder.models.audio.renderer import sample_count
from presolder.models.audio.stages import Voice
from presolder.models.cores import side_by_side
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.typing import Array
from presolder.render.files.audio import Bits
from presolder.render.files.take import Take
from presolder.render.listening.after import After
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


@dataclass(frozen=True, eq=False)
class Measured:
    """Peak of a design's audio, and its loudness as `hop_powers` has it."""

    peak: float
    powers: Array


def sweep(
    job: SweepJob, heard: Voice, folder: Path, kept: ExitStack, progress: Callable[[int], None]
) -> Swept:
    """Render a job into scratch beside its folder, and measure it.

    Parameters
    ----------
    job : SweepJob
    heard : Voice
    folder : Path
        Made here.
    kept : ExitStack
        Holds the scratch.
    progress : callable
        Called with the samples done since the last call.
    """
    folder.mkdir(exist_ok=True)

    def scratch() -> Scratch:
        return kept.enter_context(_scratch(job, folder))

    raw = [scratch() for _ in job.designs]
    _render_to_scratch(heard, job, raw, progress)
    done = side_by_side(lambda one: _after_chain(job, heard, one, scratch), raw)
    audio, measured = zip(*done, strict=True)
    return Swept(job, heard, folder, audio, measured)


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


def raw_blocks(job: SweepJob, raw: Scratch) -> Iterator[Array]:
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
        for block in heard.through(raw_blocks(job, raw)):
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
    return done, Measured(peak, powers)
