"""Every design swept and held, clean and with dirt, at levels that compare fairly."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from presolder.models.audio.knob import KnobPath
from presolder.models.audio.matching import Level, matching_gains_db, measure, shared_gain_db
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.stages import Stages, voice
from presolder.models.typing import Array

VoiceName = Literal["clean", "dirt"]


@dataclass(frozen=True, eq=False)
class Piece:
    """One design at one position in one voice.

    Attributes
    ----------
    design : int
        Index into the renderer's designs.
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
    voice: VoiceName
    audio: NDArray[np.float32]
    true_gain_db: float
    matched_gain_db: float | None


def voices_of(stages: Stages) -> tuple[VoiceName, ...]:
    """Clean alone, or clean and dirt."""
    return ("clean",) if stages.dirt is None else ("clean", "dirt")


def render_pieces(
    renderer: Renderer,
    stages: Stages,
    take: Array,
    sweep: KnobPath,
    dials: tuple[float, ...],
    progress: Callable[[int], None],
) -> list[Piece]:
    """Render all designs along a sweep and held at each dial, in each voice.

    Parameters
    ----------
    renderer : Renderer
        Into the rig's own input.
    stages : Stages
        With dirt, there is a clean and a dirty voice.
    take : ndarray, shape (channels, n)
    sweep : KnobPath
        The knob in the sweeps.
    dials : tuple of float
        Held positions, above 0; the take plays once through each.
    progress : callable
        Called with 1 after each position of all designs.

    Returns
    -------
    list of Piece
        By voice, then sweep and dials in their order, then design.
    """
    seconds = take.shape[1] / renderer.sample_rate_hz
    paths = [(None, sweep), *((dial, KnobPath((0.0, seconds), (dial, dial))) for dial in dials)]
    pieces: list[Piece] = []
    for name in voices_of(stages):
        heard = stages if name == "dirt" else Stages(stages.hum_db, None, stages.speaker)
        joined = voice(renderer, heard, take)
        rendered = []
        for dial, path in paths:
            for index, whole in enumerate(joined.whole(path, take)):
                audio = whole.astype(np.float32)
                level = measure(audio, renderer.sample_rate_hz)
                rendered.append((index, dial, audio, level))
            progress(1)
        pieces += _levelled(name, rendered)
    return pieces


def _levelled(
    name: VoiceName, rendered: list[tuple[int, float | None, NDArray[np.float32], Level]]
) -> list[Piece]:
    """Pieces of one voice, sweeps first, with the gains that make them comparable."""
    true_gain_db = shared_gain_db(level.peak_db for *_, level in rendered)
    sweeps = [level for _, dial, _, level in rendered if dial is None]
    held = [level for _, dial, _, level in rendered if dial is not None]
    matched = matching_gains_db(sweeps) + matching_gains_db(held)
    return [
        Piece(index, dial, name, audio, true_gain_db, gain_db)
        for (index, dial, audio, _), gain_db in zip(rendered, matched, strict=True)
    ]
