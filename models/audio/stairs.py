"""The same phrase at one dial after the other, and a design beside the bare pot at each."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate

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
    """Pieces in turn, each followed by silence; the same piece may stand in many strips.

    Attributes
    ----------
    pieces : tuple of ndarray, shape (channels, n)
    gaps_s : tuple of float
        Silence after each piece, seconds.
    gains : tuple of float
        What each piece is multiplied with.
    sample_rate_hz : float
    """

    pieces: tuple[Array, ...]
    gaps_s: tuple[float, ...]
    gains: tuple[float, ...]
    sample_rate_hz: float

    @property
    def starts_s(self) -> tuple[float, ...]:
        """Where each piece starts, seconds."""
        lasting = [piece.shape[1] + self._gap(i) for i, piece in enumerate(self.pieces)]
        return tuple(at / self.sample_rate_hz for at in accumulate(lasting[:-1], initial=0))

    @cached_property
    def peak(self) -> float:
        """The largest sample."""
        largest = (max(piece.max(), -piece.min()) for piece in self.pieces)
        return max(float(gain * own) for gain, own in zip(self.gains, largest, strict=True))

    @property
    def audio(self) -> Array:
        """All in one, shape (channels, n)."""
        return np.concatenate(list(self.blocks()), axis=1)

    def blocks(self) -> Iterator[Array]:
        """All, a piece or a silence at a time, shape (channels, n)."""
        for i, (piece, gain) in enumerate(zip(self.pieces, self.gains, strict=True)):
            yield gain * piece
            yield np.zeros((piece.shape[0], self._gap(i)))

    def louder(self, gain: float) -> "Strip":
        """The same, multiplied with a gain."""
        return replace(self, gains=tuple(gain * own for own in self.gains))

    def _gap(self, index: int) -> int:
        return round(self.gaps_s[index] * self.sample_rate_hz)


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
    pieces = tuple(at_dial[design] for at_dial in held)
    count = len(pieces)
    return Strip(pieces, (_STEP_GAP_SECONDS,) * count, (1.0,) * count, sample_rate_hz)


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
    order = (bare, design, bare)
    pieces = tuple(at_dial[i] for at_dial in held for i in order)
    gaps_s = (_BESIDE_GAP_SECONDS, _BESIDE_GAP_SECONDS, _PLACE_GAP_SECONDS) * len(held)
    levelled = [1.0 if gains is None else gains[i][row] for row in range(len(held)) for i in order]
    return Strip(pieces, gaps_s, tuple(levelled), sample_rate_hz)


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
