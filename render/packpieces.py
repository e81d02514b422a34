"""What a listening pack holds: every design swept and held, clean and with dirt, at fair levels."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from presolder.models.dirt import driven_rig
from presolder.models.errors import InputError
from presolder.models.knob import KnobPath
from presolder.models.matching import Level, matching_gains_db, measure, shared_gain_db
from presolder.models.network import Design
from presolder.models.rig import Rig
from presolder.models.sweep import sweep_blocks
from presolder.render.audio import Recording
from presolder.render.stages import ReadyStages, Stages, make_ready

Voice = Literal["clean", "dirt"]
LONGEST_PHRASE_SECONDS = 30.0
MOST_DIALS = 12


@dataclass(frozen=True, eq=False)
class PackJob:
    """Everything that one pack needs.

    Attributes
    ----------
    recording : Recording
    rig : Rig
    designs : tuple of Design
    sweep : KnobPath
        The knob in the sweeps.
    dials : tuple of float
        Held positions, above 0.
    stages : Stages
        With dirt, the pack has a clean and a dirty voice.
    workshop, note : str
        Who sends it, and what they say to the customer.
    """

    recording: Recording
    rig: Rig
    designs: tuple[Design, ...]
    sweep: KnobPath
    dials: tuple[float, ...]
    stages: Stages
    workshop: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.dials or len(self.dials) > MOST_DIALS or len(set(self.dials)) < len(self.dials):
            raise InputError(f"--dials must be 1 to {MOST_DIALS} different positions")
        for dial in self.dials:
            if not 0 < dial <= 10:
                raise InputError(f"--dials: {dial:g} must lie above 0 and up to 10")
        if self.recording.duration_s > LONGEST_PHRASE_SECONDS:
            raise InputError(
                f"{self.recording.name}: {self.recording.duration_s:.1f} s long; a pack repeats the"
                f" take at every position, so at most {LONGEST_PHRASE_SECONDS:g} s is accepted"
            )


@dataclass(frozen=True, eq=False)
class Piece:
    """One file's audio.

    Attributes
    ----------
    design : int
        Index into the job's designs.
    dial : float or None
        Held position; None for a sweep.
    voice : {"clean", "dirt"}
    audio : ndarray of float32, shape (channels, n)
        Before any gain.
    true_gain_db : float
        Gain shared by all pieces of the voice.
    matched_gain_db : float or None
        Gain to equal loudness among the held pieces of the voice, or among
        its sweeps; None if too quiet to have a loudness.
    """

    design: int
    dial: float | None
    voice: Voice
    audio: NDArray[np.float32]
    true_gain_db: float
    matched_gain_db: float | None


def heard_rig(job: PackJob) -> Rig:
    """The rig that figures are about: with dirt, it feeds the dirt's input."""
    return job.rig if job.stages.dirt is None else driven_rig(job.rig, job.stages.dirt)


def voices_of(job: PackJob) -> tuple[Voice, ...]:
    """Clean alone, or clean and dirt."""
    return ("clean",) if job.stages.dirt is None else ("clean", "dirt")


def make_pieces(job: PackJob, progress: Callable[[int], None]) -> list[Piece]:
    """Render everything that the pack holds.

    Parameters
    ----------
    job : PackJob
        What to render.
    progress : callable
        Called with 1 after each position of all designs.

    Returns
    -------
    list of Piece
        By voice, then sweep and dials in the job's order, then design.
    """
    pieces: list[Piece] = []
    for voice in voices_of(job):
        stages = job.stages
        if voice == "clean":
            stages = Stages(None, job.stages.speaker, job.stages.hum_db)
        ready = make_ready(stages, job.recording, job.rig)
        rendered: list[tuple[int, float | None, NDArray[np.float32], Level]] = []
        for dial in (None, *job.dials):
            path = job.sweep
            if dial is not None:
                path = KnobPath((0.0, job.recording.duration_s), (dial, dial))
            for index, audio in enumerate(_all_designs(job, ready, path)):
                level = measure(audio, job.recording.sample_rate_hz)
                rendered.append((index, dial, audio, level))
            progress(1)
        true_gain_db = shared_gain_db(level.peak_db for *_, level in rendered)
        sweeps = [level for _, dial, _, level in rendered if dial is None]
        held = [level for _, dial, _, level in rendered if dial is not None]
        matched = matching_gains_db(sweeps) + matching_gains_db(held)
        pieces += [
            Piece(index, dial, voice, audio, true_gain_db, gain_db)
            for (index, dial, audio, _), gain_db in zip(rendered, matched, strict=True)
        ]
    return pieces


def _all_designs(job: PackJob, ready: ReadyStages, path: KnobPath) -> list[NDArray[np.float32]]:
    recording = job.recording
    blocks = zip(
        *sweep_blocks(recording.samples, recording.sample_rate_hz, ready.rig, job.designs, path),
        strict=True,
    )
    return [
        np.concatenate(list(ready.through(design)), axis=1).astype(np.float32) for design in blocks
    ]
