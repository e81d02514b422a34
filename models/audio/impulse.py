"""What a rig does to an impulse with its knob at rest, for any convolver."""

from bisect import bisect_left
from collections.abc import Sequence

import numpy as np

from presolder.models.audio.knob import KnobPath
from presolder.models.audio.renderer import Renderer
from presolder.models.decibels import amplitude
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array

# What is left out is this far below the largest gain, at every frequency.
FLOOR_DB = -100.0
# Before and after the impulse, longer than any chain rings.
_LEAD_S, _TAIL_S = 0.5, 1.5


def impulse_responses(
    rig: Rig, designs: Sequence[Design], dials: Sequence[float], sample_rate_hz: int
) -> tuple[list[list[Array]], int]:
    """Impulse responses of designs at some dials, as short as `FLOOR_DB` lets them be.

    Parameters
    ----------
    rig : Rig
        Its takes are what is to be convolved: the EMF itself, or a take at the jack, whose
        chain is then taken away first.
    designs : sequence of Design
    dials : sequence of float
        Above 0.
    sample_rate_hz : int

    Returns
    -------
    responses : list of list of ndarray, shape (n,)
        By design, then dial.
    lead : int
        So many samples of each come before the take's own instant: by so much a convolver
        delays. All have the same.
    """
    renderer = Renderer(rig, tuple(designs), sample_rate_hz)
    before, after = round(_LEAD_S * sample_rate_hz), round(_TAIL_S * sample_rate_hz)
    impulse = np.zeros((1, before + after))
    impulse[0, before] = 1.0
    seconds = impulse.shape[1] / sample_rate_hz
    whole: list[list[Array]] = [[] for _ in designs]
    for dial in dials:
        blocks = list(renderer.along(KnobPath((0.0, seconds), (dial, dial)), impulse))
        for kept, pieces in zip(whole, zip(*blocks, strict=True), strict=True):
            kept.append(np.concatenate([piece[0] for piece in pieces]))
    spans = [[_span(response) for response in row] for row in whole]
    first = min(before, *(start for row in spans for start, _ in row))
    cut = [
        [response[first:stop].copy() for response, (_, stop) in zip(row, its, strict=True)]
        for row, its in zip(whole, spans, strict=True)
    ]
    return cut, before - first


def _span(response: Array) -> tuple[int, int]:
    """Where a response begins and ends, if at no frequency more than so much may be left out."""
    # Half at either end.
    allowed = 0.5 * amplitude(FLOOR_DB) * _largest_gain(response)
    middle = int(np.argmax(np.abs(response)))
    stop = bisect_left(
        range(middle, response.size), True,
        key=lambda at: bool(_largest_gain(response[at + 1 :]) <= allowed),
    )  # fmt: skip
    before = bisect_left(
        range(middle), True,
        key=lambda count: bool(_largest_gain(response[: middle - count]) <= allowed),
    )  # fmt: skip
    return middle - before, middle + stop + 1


def _largest_gain(response: Array) -> float:
    """Over all frequencies."""
    if response.size == 0:
        return 0.0
    return float(np.abs(np.fft.rfft(response, 1 << (2 * response.size - 1).bit_length())).max())
