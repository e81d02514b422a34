"""The same phrase at one dial after the other, and a design beside the bare pot at each."""

from dataclasses import dataclass

import numpy as np

from presolder.models.audio.knob import KnobPath
from presolder.models.audio.matching import measure
from presolder.models.audio.stages import Voice
from presolder.models.decibels import amplitude
from presolder.models.typing import Array

DIALS = (10.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0)
PHRASE_SECONDS = 2.4
_FADE_SECONDS = 0.01
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
    fade = np.ones(take.shape[1])
    count = min(round(_FADE_SECONDS * rate), take.shape[1] // 2)
    fade[:count] = (np.arange(count) + 0.5) / count
    fade *= fade[::-1]
    return [
        [audio * fade for audio in voice.whole(KnobPath((0.0, seconds), (dial, dial)), take)]
        for dial in dials
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
    gains: list[float] | None = None,
) -> Strip:
    """Bare, design, bare at each dial.

    Parameters
    ----------
    held : list of list of ndarray
        From `held_phrases`.
    design, bare : int
        Their indices.
    sample_rate_hz : float
    gains : list of float, optional
        What to multiply the design with at each dial.

    Returns
    -------
    Strip
        Three pieces a dial.
    """
    pieces, gaps = [], []
    for at_dial, gain in zip(held, gains or [1.0] * len(held), strict=True):
        other = at_dial[bare]
        pieces += [other, gain * at_dial[design], other]
        gaps += [_BESIDE_GAP_SECONDS, _BESIDE_GAP_SECONDS, _PLACE_GAP_SECONDS]
    return _joined(pieces, gaps, sample_rate_hz)


def gains_to_bare(held: list[list[Array]], bare: int, sample_rate_hz: float) -> list[list[float]]:
    """Gains that make every design as loud as the bare pot, by design and then by dial.

    Notes
    -----
    Loudness after ITU-R BS.1770; what has none, for silence, stays as it is.
    """
    levels = [[measure(audio, sample_rate_hz).loudness_lufs for audio in row] for row in held]
    return [
        [
            1.0 if own is None or row[bare] is None else amplitude(row[bare] - own)  # type: ignore[operator]
            for row, own in ((row, row[design]) for row in levels)
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
