"""What was rendered, beside the bare pot at the same dial: louder, brighter, and where most."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from presolder.models.audio.knob import KnobPath
from presolder.models.decibels import power
from presolder.models.hearing.bands import third_octave_db
from presolder.models.hearing.change import change, sound
from presolder.models.hearing.material import line_powers
from presolder.models.typing import Array

# So near to a dial counts as it, and so much of it is listened to.
_NEAR, _LEAST_SECONDS, _MOST_SECONDS = 0.5, 0.2, 8.0
DIALS = (9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0)


@dataclass(frozen=True, eq=False)
class BesideBare:
    """A design beside the bare pot, each of shape (d,).

    Attributes
    ----------
    dial : ndarray
    louder_phon : ndarray
        Loudness level over the bare pot's.
    brighter_db : ndarray
        Treble gained less treble lost, at equal loudness.
    unlike_db : ndarray
        Treble gained and lost together; 0 where ears notice nothing.
    """

    dial: Array
    louder_phon: Array
    brighter_db: Array
    unlike_db: Array

    @property
    def most_unlike_at(self) -> float | None:
        """The dial at which ears notice the change of tone most; None if nowhere."""
        if not self.unlike_db.size or not self.unlike_db.max() > 0:
            return None
        return float(self.dial[int(np.argmax(self.unlike_db))])


def beside_bare(
    lines: Array, bare: int, dial: Sequence[float], loudest_db: float
) -> tuple[BesideBare, ...]:
    """Compare designs with the bare pot at each dial, as rendered.

    Parameters
    ----------
    lines : ndarray, shape (n, d, 112)
        Power at `LINES_HZ` of each design at each dial.
    bare : int
        Index of the bare pot.
    dial : sequence of float
    loudest_db : float
        Sound pressure level of the bare pot where it is loudest, dB re 20 uPa.
    """
    loudest = lines[bare].sum(axis=-1).max(initial=0.0)
    if not loudest > 0:
        return (BesideBare(*(np.zeros(0),) * 4),) * len(lines)
    levels_db = third_octave_db(lines * (power(loudest_db) / loudest))
    plain = sound(levels_db[bare])
    heard = plain.phon > 0
    louder = sound(levels_db).phon - plain.phon
    moved = change(levels_db, plain)
    unlike = np.where(moved.noticed & heard, moved.tone_db, 0.0)
    return tuple(
        BesideBare(
            np.array(dial)[heard], louder[i, heard],
            (moved.brighter_db - moved.duller_db)[i, heard], unlike[i, heard],
        )
        for i in range(len(lines))
    )  # fmt: skip


@dataclass(frozen=True)
class Window:
    """When the knob is near a dial, in samples."""

    dial: float
    start: int
    stop: int


def windows(path: KnobPath, sample_rate_hz: float) -> tuple[Window, ...]:
    """When a path is first near each of `DIALS`; those that it passes by too fast left out."""
    found = []
    for dial in DIALS:
        for start_s, stop_s in _near(path, dial):
            if stop_s - start_s < _LEAST_SECONDS:
                continue
            start = round(start_s * sample_rate_hz)
            stop = round(min(stop_s, start_s + _MOST_SECONDS) * sample_rate_hz)
            found.append(Window(dial, start, stop))
            break
    return tuple(found)


def _near(path: KnobPath, dial: float) -> Iterator[tuple[float, float]]:
    """Times between which the knob is near a dial, stretches that touch joined."""
    begin = end = None
    points = zip(path.times_s, path.dials, strict=True)
    for (start_s, start), (stop_s, stop) in pairwise(points):
        inside = [0.0, 1.0] if abs(start - dial) <= _NEAR and start == stop else []
        if start != stop:
            low, high = sorted(((edge - start) / (stop - start)) for edge in _edges(dial))
            inside = [max(low, 0.0), min(high, 1.0)]
        if not inside or inside[0] >= inside[1]:
            continue
        first, last = (start_s + share * (stop_s - start_s) for share in inside)
        if begin is not None and end is not None and first > end + 1e-9:
            yield begin, end
            begin = None
        begin, end = first if begin is None else begin, last
    if begin is not None and end is not None:
        yield begin, end


def _edges(dial: float) -> tuple[float, float]:
    return dial - _NEAR, dial + _NEAR


def window_powers(
    blocks: Iterable[Array], wanted: Sequence[Window], sample_rate_hz: float
) -> Array:
    """Power at `LINES_HZ` of a stream within each window, shape (w, 112); of its first channel.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
    wanted : sequence of Window
    sample_rate_hz : float
    """
    parts: list[list[Array]] = [[] for _ in wanted]
    at = 0
    for block in blocks:
        for part, window in zip(parts, wanted, strict=True):
            low, high = max(window.start - at, 0), min(window.stop - at, block.shape[1])
            if low < high:
                part.append(block[0, low:high].copy())
        at += block.shape[1]
    silent = np.zeros(round(_LEAST_SECONDS * sample_rate_hz))
    whole = [np.concatenate(part) if part else silent for part in parts]
    return np.array([line_powers(audio, sample_rate_hz) for audio in whole]).reshape(-1, 112)
