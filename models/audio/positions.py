"""Every design swept and held, clean and with dirt, at levels that compare fairly."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from presolder.models.audio.ends import faded
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.loudness import hop_powers, loudest_lufs
from presolder.models.audio.matching import (
    DIRT_OVER_CLEAN_LU,
    Level,
    clean_lufs,
    matching_gains_db,
    measure,
    shared_gain_db,
)
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.stages import Stages, Voice, evenly_driven, voice
from presolder.models.cores import side_by_side
from presolder.models.instrument.dirt import AnyDirt
from presolder.models.typing import Array

VoiceName = Literal["clean", "dirt"]
VOICES: tuple[VoiceName, ...] = get_args(VoiceName)


@dataclass(frozen=True, eq=False)
class SignalPath:
    """A chain and what follows it, in one of the situations of a guitar.

    Attributes
    ----------
    renderer : Renderer
        Into the rig's own input.
    stages : Stages
        With dirt, there is a clean and a dirty voice.
    """

    renderer: Renderer
    stages: Stages

    def following(self, name: VoiceName) -> Stages:
        """What follows the chain in a voice."""
        if name == "dirt":
            return self.stages
        return Stages(self.stages.hum_db, None, self.stages.speaker)


@dataclass(frozen=True, eq=False)
class Piece:
    """One design at one position in one voice and one situation.

    Attributes
    ----------
    situation : int
        Index of it.
    design : int
        Index into the renderer's designs.
    dial : float or None
        Held position; None for a sweep.
    voice : {"clean", "dirt"}
    audio : ndarray of float32, shape (channels, n)
        Before any gain.
    true_gain_db : float
        Gain shared by all pieces of the voice, in all situations that have it.
    matched_gain_db : float or None
        Gain to equal loudness among the held pieces of the voice, or among
        its sweeps; None if too quiet to have a loudness.
    """

    situation: int
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
    signal_paths: Sequence[SignalPath],
    take: Array,
    sweep: KnobPath,
    dials: tuple[float, ...],
    progress: Callable[[int], None],
) -> list[Piece]:
    """Render all designs along a sweep and held at each dial, in each voice of each situation.

    Parameters
    ----------
    signal_paths : sequence of SignalPath
        One a situation, of the same designs.
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
        By situation and voice, then sweep and dials in their order, then design.
    """
    voices = dict.fromkeys(
        (name, one.stages.dirt if name == "dirt" else None)
        for name in VOICES
        for one in signal_paths
        if name in voices_of(one.stages)
    )
    pieces = [
        piece
        for name, dirt in voices
        for piece in _voice_pieces(signal_paths, name, dirt, take, sweep, dials, progress)
    ]
    return sorted(pieces, key=lambda piece: piece.situation)


def _voice_pieces(
    signal_paths: Sequence[SignalPath],
    name: VoiceName,
    dirt: AnyDirt | None,
    take: Array,
    sweep: KnobPath,
    dials: tuple[float, ...],
    progress: Callable[[int], None],
) -> list[Piece]:
    """What all situations have in one voice, at levels that compare."""
    meant = [i for i, one in enumerate(signal_paths) if name == "clean" or one.stages.dirt == dirt]
    voices = evenly_driven(
        [voice(signal_paths[i].renderer, signal_paths[i].following(name), take) for i in meant]
    )
    rate = signal_paths[0].renderer.sample_rate_hz
    seconds = take.shape[1] / rate
    paths = [(None, sweep), *((dial, KnobPath((0.0, seconds), (dial, dial))) for dial in dials)]
    for joined in voices:
        joined.prepare()

    def at(place: tuple[int, Voice, float | None, KnobPath]) -> list[_Rendered]:
        situation, joined, dial, path = place
        made = []
        for index, whole in enumerate(joined.whole(path, take)):
            (ended,) = faded([whole], whole.shape[1], rate)
            audio = ended.astype(np.float32)
            loudest = -np.inf if dirt is None else loudest_lufs(hop_powers([ended], rate))
            made.append(_Rendered(situation, index, dial, audio, measure(audio, rate), loudest))
        return made

    rendered = []
    places = [
        (situation, joined, dial, path)
        for situation, joined in zip(meant, voices, strict=True)
        for dial, path in paths
    ]
    for some in side_by_side(at, places):
        rendered += some
        progress(1)
    ceiling = np.inf
    if dirt is not None:
        ceiling = clean_lufs(take, rate) + DIRT_OVER_CLEAN_LU
    return _levelled(name, rendered, ceiling)


@dataclass(frozen=True, eq=False)
class _Rendered:
    """A piece before it is levelled."""

    situation: int
    design: int
    dial: float | None
    audio: NDArray[np.float32]
    level: Level
    # Of its loudest 400 ms; minus infinity where it has no ceiling.
    loudest_lufs: float


def _levelled(name: VoiceName, rendered: list[_Rendered], ceiling_lufs: float) -> list[Piece]:
    """Pieces of one voice with the gains that make them comparable."""
    loudest = max(one.loudest_lufs for one in rendered)
    true_gain_db = min(
        shared_gain_db(one.level.peak_db for one in rendered), ceiling_lufs - loudest
    )
    swept = [one for one in rendered if one.dial is None]
    held = [one for one in rendered if one.dial is not None]
    matched: dict[int, float | None] = {}
    for alike in (swept, held):
        gains_db = matching_gains_db([one.level for one in alike])
        over = [
            one.loudest_lufs + gain_db - ceiling_lufs
            for one, gain_db in zip(alike, gains_db, strict=True)
            if gain_db is not None
        ]
        too_loud = max(0.0, *over) if over else 0.0
        for one, gain_db in zip(alike, gains_db, strict=True):
            matched[id(one)] = None if gain_db is None else gain_db - too_loud
    return [
        Piece(one.situation, one.design, one.dial, name, one.audio, true_gain_db, matched[id(one)])
        for one in rendered
    ]
