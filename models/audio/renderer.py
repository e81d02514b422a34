"""The main job on arrays: a recording through several designs while the knob turns."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import repeat

import numpy as np

from presolder.models.audio.emf import filters_for, null_db, recover_emf_in_place
from presolder.models.audio.knob import KnobPath, dials_of_steps
from presolder.models.audio.loop import fitted_blocks
from presolder.models.audio.overlap import FilterBank
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.recursion import Recursion, discretise
from presolder.models.core import step_states
from presolder.models.cores import crew
from presolder.models.instrument.controls import Load
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Capture, Rig
from presolder.models.typing import Array

BLOCK = 1 << 16


@dataclass(frozen=True, eq=False)
class Renderer:
    """A rig with designs at one sample rate: tables and filters are made once and kept.

    Attributes
    ----------
    rig : Rig
        The instrument, what it feeds, and how the take was captured.
    designs : tuple of Design
        The bypass networks under audition.
    sample_rate_hz : float
        Of the takes.
    shared_filters : FilterBank or None
        Filters that another renderer made for the same takes.
    shared_recursions : tuple of Recursion or None
        Recursions that another renderer made for the same circuits.
    """

    rig: Rig
    designs: tuple[Design, ...]
    sample_rate_hz: float
    shared_filters: FilterBank | None = field(default=None, repr=False)
    shared_recursions: tuple[Recursion, ...] | None = field(default=None, repr=False)

    @cached_property
    def filters(self) -> FilterBank:
        """From a take to the EMF at the instants that the recursions need."""
        if self.shared_filters is not None:
            return self.shared_filters
        return filters_for(self.rig, self.sample_rate_hz)

    @property
    def null_db(self) -> Array | None:
        """What is left of a jack take with nothing changed, by band; see `emf.null_db`."""
        return null_db(self.rig, self.filters, self.sample_rate_hz)

    @cached_property
    def recursions(self) -> tuple[Recursion, ...]:
        """The circuit of each design, step by step."""
        if self.shared_recursions is not None:
            return self.shared_recursions
        return tuple(
            discretise(chain_equations(self.rig, design.network), self.sample_rate_hz)
            for design in self.designs
        )

    def along(self, path: KnobPath, take: Array, block: int = BLOCK) -> Iterator[list[Array]]:
        """Render a take while the knob follows a path.

        Parameters
        ----------
        path : KnobPath
            The volume knob over time.
        take : ndarray, shape (channels, n)
            It is cut or looped to the length of the path.
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
        count = sample_count(path, self.sample_rate_hz)
        return self.along_pieces(path, fitted_blocks(take, count, self.sample_rate_hz, block))

    def along_pieces(self, path: KnobPath, source: Iterable[Array]) -> Iterator[list[Array]]:
        """Render a stream as `along` a take.

        Parameters
        ----------
        path : KnobPath
        source : iterable of ndarray, shape (channels, n)
            As long in all as the path.

        Yields
        ------
        list of ndarray, shape (channels, n)
        """
        return self._stream(self.recursions, path, source)

    def at_ten(self, take: Array) -> Iterator[Array]:
        """Render a take with the knob at 10, where all designs are the same circuit.

        Where another channel's knob stands elsewhere they are not, and the
        bare pot is taken, so that the choice of designs makes no difference.

        Parameters
        ----------
        take : ndarray, shape (channels, n)

        Yields
        ------
        ndarray, shape (channels, n)
        """
        networks = [design.network for design in self.designs]
        if None in networks:
            recursion = self.recursions[networks.index(None)]
        elif all(one.held_at in (None, DIAL_MAX) for one in self.rig.volumes):
            recursion = self.recursions[0]
        else:
            recursion = discretise(chain_equations(self.rig, None), self.sample_rate_hz)
        resting = KnobPath((0.0, take.shape[1] / self.sample_rate_hz), (DIAL_MAX, DIAL_MAX))
        source = fitted_blocks(take, take.shape[1], self.sample_rate_hz, BLOCK)
        for (block,) in self._stream((recursion,), resting, source):
            yield block

    def into(self, load: Load) -> "Renderer":
        """The same designs and takes, feeding another input."""
        return Renderer(self.rig.feeding(load), self.designs, self.sample_rate_hz, self.filters)

    def of_emf(self) -> "Renderer":
        """The same circuits for takes that are EMF themselves, such as noise from the coil."""
        rig = replace(self.rig, take=Capture("string"))
        # By places along the string they have other EMFs.
        same = self.recursions if self.rig.take.string is None else None
        return Renderer(rig, self.designs, self.sample_rate_hz, shared_recursions=same)

    def _stream(
        self, recursions: tuple[Recursion, ...], path: KnobPath, source: Iterable[Array]
    ) -> Iterator[list[Array]]:
        states: list[Array] = []
        with crew(len(recursions)) as spread:
            for piece in emf_along(self.filters, path, source, self.sample_rate_hz):
                # At rest, once it is known how many channels there are.
                states = states or [np.zeros((len(piece.emf), r.state_count)) for r in recursions]
                whole = spread(advance, recursions, repeat(piece.dial), repeat(piece.emf), states)
                rendered = [audio[:, piece.early :] for audio in whole]
                if piece.early < piece.dial.size:
                    yield rendered


@dataclass(frozen=True, eq=False)
class EmfPiece:
    """A stretch of a take's EMF with the knob beside it.

    Attributes
    ----------
    emf : ndarray, shape (channels, q, n)
        At the q instants of each sample's step.
    dial : ndarray, shape (n,)
        At the middle of each step.
    first : int
        Sample that it starts at; below 0 before the recording sets in.
    """

    emf: Array
    dial: Array
    first: int

    @property
    def early(self) -> int:
        """Samples at its start that bring the circuit up and are not kept."""
        return min(max(0, -self.first), self.dial.size)


def emf_along(
    filters: FilterBank, path: KnobPath, source: Iterable[Array], sample_rate_hz: float
) -> Iterator[EmfPiece]:
    """Stream the EMF of a recording, itself a stream, with the knob beside it.

    The recovered EMF sets in before the recording does. A piece is valid until
    the next is asked for.
    """
    first = -filters.lead
    for emf in recover_emf_in_place(source, filters):
        count = emf.shape[2]
        yield EmfPiece(emf, dials_of_steps(path, first, count, sample_rate_hz), first)
        first += count


def advance(recursion: Recursion, dial: Array, emf: Array, states: Array) -> Array:
    """Run the time-varying filter over one block of audio.

    Parameters
    ----------
    recursion : Recursion
        The circuit at this sample rate.
    dial : ndarray, shape (n,)
        Dial position at the middle of each step.
    emf : ndarray, shape (channels, 4 p, n)
        Each EMF at the collocation nodes of each step.
    states : ndarray, shape (channels, m)
        Physical states before the block (zeros at rest); updated in place.

    Returns
    -------
    ndarray, shape (channels, n)
        The output, sample-aligned with the EMF.
    """
    output = np.empty((emf.shape[0], emf.shape[2]))
    for channel in range(emf.shape[0]):
        step_states(
            recursion.table, recursion.dials, dial, emf[channel], states[channel], output[channel]
        )
    return output


def sample_count(path: KnobPath, sample_rate_hz: float) -> int:
    """Samples in a render along this path."""
    return round(path.duration_s * sample_rate_hz)
