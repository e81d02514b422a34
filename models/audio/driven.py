"""A take through a guitar that feeds a stage of transistors or diodes, which it is part of."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import repeat

import numpy as np

from presolder.models.audio.ahead import ahead
from presolder.models.audio.decimation import decimated
from presolder.models.audio.drive import loudest_second
from presolder.models.audio.emf import emf_filters, filters_for, null_db, recover_emf
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.loop import fitted_blocks
from presolder.models.audio.overlap import FilterBank, taken_from
from presolder.models.audio.renderer import BLOCK, EmfPiece, emf_along, sample_count
from presolder.models.audio.voicing import noise_pieces
from presolder.models.circuit.steps import PAST, Steps, tabulate_steps
from presolder.models.core import step_circuit
from presolder.models.cores import crew
from presolder.models.decibels import amplitude
from presolder.models.errors import InputError
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.typing import Array

# So many that the aliases of a full fuzz lie 80 dB below its tone: measured in the tests.
LEAST_STEPS_PER_SECOND = 430_000.0


@dataclass(frozen=True, eq=False)
class Driven:
    """A rig with designs that feeds a stage, at one sample rate.

    Attributes
    ----------
    rig : Rig
        Its load has the stage.
    designs : tuple of Design
    sample_rate_hz : float
    emf_volts : float
        Volts of EMF for a sample value of 1 in the recovered EMF.
    noise_gain : float
        Of the coil's own hum and hiss beside the recovered EMF; 0 for none.
    """

    rig: Rig
    designs: tuple[Design, ...]
    sample_rate_hz: float
    emf_volts: float
    noise_gain: float = 0.0

    @property
    def stage(self) -> Stage:
        """What the guitar feeds."""
        assert self.rig.load.stage is not None
        return self.rig.load.stage

    @property
    def oversampling(self) -> int:
        """Steps of the circuit in a sample."""
        return int(np.ceil(LEAST_STEPS_PER_SECOND / self.sample_rate_hz))

    @property
    def instants(self) -> Array:
        """When within a sample's time each of its steps ends."""
        return np.arange(1, self.oversampling + 1) / self.oversampling

    @cached_property
    def filters(self) -> FilterBank:
        """From a take to the EMF at each step."""
        return filters_for(self.rig, self.sample_rate_hz, self.instants)

    @property
    def null_db(self) -> Array | None:
        """What is left of a jack take with nothing changed, by band; see `emf.null_db`."""
        return null_db(self.rig, self.filters, self.sample_rate_hz)

    @cached_property
    def steps(self) -> tuple[Steps, ...]:
        """The circuit of each design, step by step."""
        per_second = self.oversampling * self.sample_rate_hz
        return tuple(tabulate_steps(self.rig, one.network, per_second) for one in self.designs)

    def along(self, path: KnobPath, take: Array, block: int = BLOCK) -> Iterator[list[Array]]:
        """Render a take while the knob follows a path, as `Renderer.along` does.

        Parameters
        ----------
        path : KnobPath
        take : ndarray, shape (channels, n)
        block : int
            Samples read at a time; the result does not depend on it.

        Yields
        ------
        list of ndarray, shape (channels, n)
            Volts at the stage's output, one block per design, sample-aligned.

        Raises
        ------
        InputError
            If a step of the circuit has no solution, with its time.
        """
        level = amplitude(self.stage.level_db)
        fine = ahead(self._fine(path, take, block))
        for heard in decimated(fine, self.oversampling, self.sample_rate_hz):
            yield list(level * heard.reshape(len(self.designs), take.shape[0], -1))

    def _fine(self, path: KnobPath, take: Array, block: int) -> Iterator[Array]:
        """All designs' channels, one after the other, at each step; on all cores."""
        rate, channels = self.sample_rate_hz, take.shape[0]
        runs = [
            (design, standing)
            for design, steps in enumerate(self.steps)
            for standing in at_rest(steps, channels)
        ]
        noise = self._noise(sample_count(path, rate) + self.filters.lead)
        with crew(len(runs)) as spread:
            for piece in ahead(self._pieces(path, take, block)):
                volts = self.emf_volts * (piece.emf + noise(piece.dial.size))
                out = np.empty((len(runs), self.oversampling * volts.shape[2]))
                failures = spread(
                    advance,
                    [self.steps[design] for design, _ in runs],
                    repeat(piece.dial),
                    [volts[run % channels] for run in range(len(runs))],
                    [standing for _, standing in runs],
                    out,
                )
                for (design, _), failed in zip(runs, failures, strict=True):
                    self.require_solved(design, failed, piece.first)
                if piece.early < piece.dial.size:
                    yield out[:, piece.early * self.oversampling :]

    def _pieces(self, path: KnobPath, take: Array, block: int) -> Iterator[EmfPiece]:
        """The take's EMF in pieces of their own, since the next is made while one is used."""
        rate = self.sample_rate_hz
        source = fitted_blocks(take, sample_count(path, rate), rate, block)
        return (
            replace(piece, emf=piece.emf.copy())
            for piece in emf_along(self.filters, path, source, rate)
        )

    def require_solved(self, design: int, failed: int, first: int) -> None:
        """Refuse to go on where a step has no solution.

        Parameters
        ----------
        design : int
        failed : int
            From `advance`.
        first : int
            Sample that its block started at.

        Raises
        ------
        InputError
            With the time.
        """
        if failed >= 0:
            at_s = max(0.0, (first + failed / self.oversampling) / self.sample_rate_hz)
            raise InputError(
                f"{self.stage.kind} behind {self.designs[design].name!r} finds no solution at"
                f" {at_s:.4f} s; its input may be far too strong"
            )

    def _noise(self, count: int) -> Callable[[int], Array | float]:
        """The coil's hum and hiss at each step, so many samples at a time."""
        if not self.noise_gain:
            return lambda _: 0.0
        filters = emf_filters(self.sample_rate_hz, instants=self.instants)
        pieces = noise_pieces(count, self.sample_rate_hz)
        noise = (self.noise_gain * piece[np.newaxis] for piece in pieces)
        # The same in all coils.
        emfs = (1, self.steps[0].emf_count, 1)
        return taken_from(np.tile(piece, emfs) for piece in recover_emf(noise, filters))


@dataclass(frozen=True, eq=False)
class Standing:
    """Where a circuit stands: its last three states and junction voltages, as the core has them."""

    past: Array
    solutions: Array


def at_rest(steps: Steps, channels: int) -> list[Standing]:
    """A circuit at its working point, once a channel."""
    return [
        Standing(np.zeros((PAST.size, steps.held)), np.tile(steps.rest[0], (PAST.size, 1)))
        for _ in range(channels)
    ]


def advance(steps: Steps, dial: Array, emf: Array, standing: Standing, output: Array) -> int:
    """Run a circuit over one block of one channel.

    Parameters
    ----------
    steps : Steps
    dial : ndarray, shape (n,)
    emf : ndarray, shape (e * q, n)
        Volts of each EMF at each of a sample's q steps.
    standing : Standing
        Updated in place.
    output : ndarray, shape (n * q,)
        Written: volts at the stage's output.

    Returns
    -------
    int
        Index of a step that has no solution, or -1.
    """
    return step_circuit(
        steps.by_columns, steps.dials, steps.kinds, steps.rest, PAST, dial,
        np.ascontiguousarray(emf), standing.past, steps.state_count, standing.solutions, output,
    )  # fmt: skip


def emf_volts_for(rig: Rig, stage: Stage, take: Array, sample_rate_hz: float) -> float:
    """Volts of EMF for a recovered EMF of 1: by the pickup's output in the loudest second.

    Parameters
    ----------
    rig : Rig
    stage : Stage
        Its touch is how much harder than the pickup's output says.
    take : ndarray, shape (channels, n)
    sample_rate_hz : float
    """
    filters = filters_for(rig, sample_rate_hz, np.ones(1))
    blocks = (emf[:, 0] for emf in recover_emf(iter([take]), filters))
    return rig.volts_into(stage) / loudest_second(blocks, sample_rate_hz).ordinary_peak
