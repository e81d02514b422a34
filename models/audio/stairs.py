"""The same phrase at one dial after the other, and a design beside the bare pot at each."""

from dataclasses import dataclass

import numpy as np

from presolder.models.audio.ends import faded
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.matching import measure
from presolder.models.audio.stages import Voice
from presolder.models.decibels import amplitude
from presolder.models.typing import Array

DIALS = (10.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0)
PHRASE_SECONDS = 2.5
_STEP_GAP_SECONDS, _BESIDE_GAP_SECONDS, _PLACE_GAP_SECONDS = 0.25, 0.15, 0.6


@dataclass(frozen=True, eq=False)
class Strip:
    """Pieces joined into one recording.

    Attributes
    ----------
    audio : ndarray, shape (channels, n)
    starts_s : tuple of float
        Where each piece starts, seconds.
    """

    audio: Array
    starts_s: tuple[float, ...]


def held_phrases(voice: Voice, take: Array, dials: tuple[float, ...]) -> list[list[Array]]:
    """The take held at each dial, by dial and then by design, faded at both ends.

    Parameters
    ----------
    voice : Voice
    take : ndarray, shape (channels, n)
    dials : tuple of float
        Above 0.
    """
    rate = voice.renderer.sample_rate_hz
    seconds = take.shape[1] / rate
    paths = [KnobPath((0.0, seconds), (dial, dial)) for dial in dials]
    return [
        [np.concatenate(list(faded([audio], audio.shape[1], rate)), axis=1) for audio in audios]
        for audios in (voice.whole(path, take) for path in paths)
    ]


def stairs(held: list[list[Array]], design: int, sample_rate_hz: float) -> Strip:
    """One design at each dial in turn.

    Parameters
    ----------
    held : list of list of ndarray
        From `held_phrases`.
    design : int
        Its index.
    sample_rate_hz : float
    """
    pieces = [at_dial[design] for at_dial in held]
    return _joined(pieces, [_STEP_GAP_SECONDS] * len(pieces), sample_rate_hz)


def beside_bare(
    held: list[list[Array]],
    design: int,
    bare: int,
    sample_rate_hz: float,
    gains: list[list[float]] | None = None,
) -> Strip:
    """Bare, design, bare at each dial.

    Parameters
    ----------
    held : list of list of ndarray
        From `held_phrases`.
    design, bare : int
        Their indices.
    sample_rate_hz : float
    gains : list of list of float, optional
        What to multiply each design with, at each dial.

    Returns
    -------
    Strip
        Three pieces a dial.
    """
    pieces, gaps = [], []
    for row, at_dial in enumerate(held):
        own, its = (1.0, 1.0) if gains is None else (gains[bare][row], gains[design][row])
        other = own * at_dial[bare]
        pieces += [other, its * at_dial[design], other]
        gaps += [_BESIDE_GAP_SECONDS, _BESIDE_GAP_SECONDS, _PLACE_GAP_SECONDS]
    return _joined(pieces, gaps, sample_rate_hz)


def gains_to_loudest(
    held: list[list[Array]], bare: int, sample_rate_hz: float
) -> list[list[float]]:
    """Gains that make all as loud as the bare pot at its loudest dial, by design and by dial.

    Notes
    -----
    Loudness after ITU-R BS.1770; what has none, for silence, stays as it is.
    """
    levels = [[measure(audio, sample_rate_hz).loudness_lufs for audio in row] for row in held]
    loudest = max((row[bare] for row in levels if row[bare] is not None), default=None)  # type: ignore[type-var]
    return [
        [
            1.0 if own is None or loudest is None else amplitude(loudest - own)
            for own in (row[design] for row in levels)
        ]
        for design in range(len(held[0]))
    ]


def _joined(pieces: list[Array], gaps_s: list[float], sample_rate_hz: float) -> Strip:
    """Pieces with a gap after each."""
    parts, starts, at = [], [], 0
    for piece, gap_s in zip(pieces, gaps_s, strict=True):
        starts.append(at / sample_rate_hz)
        gap = np.zeros((piece.shape[0], round(gap_s * sample_rate_hz)))
        parts += [piece, gap]
        at += piece.shape[1] + gap.shape[1]
    return Strip(np.concatenate(parts, axis=1), tuple(starts))
