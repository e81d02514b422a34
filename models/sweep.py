"""The main job on arrays: one recording, one knob path, several designs at once."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from presolder.models.circuit import describe, describe_take
from presolder.models.discrete import advance, discretise
from presolder.models.knob import KnobPath, dial_at
from presolder.models.loop import fitted_blocks
from presolder.models.network import Design
from presolder.models.rig import Rig
from presolder.models.unload import emf_filters, recover_emf


def sweep_blocks(
    samples: NDArray[np.float64],
    sample_rate_hz: float,
    rig: Rig,
    designs: tuple[Design, ...],
    path: KnobPath,
    block: int = 1 << 16,
) -> Iterator[list[NDArray[np.float64]]]:
    """Render a take through every design while the knob moves.

    Parameters
    ----------
    samples : ndarray, shape (channels, n)
        The take; it is cut or looped to the length of the path.
    sample_rate_hz : float
        Sample rate.
    rig : Rig
        The instrument, what it feeds, and how the take was captured.
    designs : tuple of Design
        The bypass networks under audition.
    path : KnobPath
        The volume knob over time.
    block : int
        Samples read at a time; the result does not depend on it.

    Yields
    ------
    list of ndarray, shape (channels, n)
        One block per design, sample-aligned with the take.

    Notes
    -----
    The EMF is recovered once and shared by all designs.
    """
    captured_at_jack = rig.take.captured == "jack"
    take = describe_take(rig) if captured_at_jack else None
    filters = emf_filters(sample_rate_hz, take, rig.take.volume_dial)
    recursions = [discretise(describe(rig, d.network), sample_rate_hz) for d in designs]
    states = [np.zeros((samples.shape[0], r.state_count)) for r in recursions]
    source = fitted_blocks(samples, sample_count(path, sample_rate_hz), sample_rate_hz, block)
    # The recovered EMF sets in before the recording does; that part of each
    # design's output brings the circuit up and is not kept.
    first = -filters.lead
    for emf in recover_emf(source, filters):
        index = np.arange(first, first + emf.shape[2])
        # The step that ends at sample n is taken at the dial of its middle.
        dial = dial_at(path, (index - 0.5) / sample_rate_hz)
        kept = slice(max(0, -first), None)
        first += emf.shape[2]
        rendered = [
            advance(recursion, dial, emf, state)[:, kept]
            for recursion, state in zip(recursions, states, strict=True)
        ]
        if first > 0:
            yield rendered


def sample_count(path: KnobPath, sample_rate_hz: float) -> int:
    """Samples in a render along this path."""
    return round(path.duration_s * sample_rate_hz)
