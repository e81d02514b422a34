"""A guitar as it is played: block after block, the knob known only as it comes.

What a render makes by Fourier transforms of whole windows is made by short forms of the
same impulse responses sample by sample here, and the same core steps along: so both
are equal to within -122 dB, but for a delay of the samples that the filters look ahead.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from presolder.models.audio.brief import brief, reach
from presolder.models.audio.clip import (
    DC_BLOCK_HZ,
    OVERSAMPLING,
    WINDOW,
    down_response,
    tabulate,
    up_response,
)
from presolder.models.audio.drive import first_order_high_pass, pre_emphasis
from presolder.models.audio.driven import Driven, at_rest
from presolder.models.audio.driven import advance as advance_circuit
from presolder.models.audio.emf import band_limit
from presolder.models.audio.overlap import FilterBank
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.sections import running_sections
from presolder.models.circuit.recursion import Recursion
from presolder.models.core import Played, combine, shape_averaged
from presolder.models.decibels import amplitude
from presolder.models.instrument.dirt import AnyDirt, Dirt, load_of
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.typing import Array, ComplexArray

# Another guitar runs along unheard for so long, until its capacitors have settled, then comes in.
_SETTLING_S, _FADE_S = 0.15, 0.01

# Of each sample, or from where to where along a line.
Dial = Array | tuple[float, float]
Step = Callable[[Array, Dial], Array]


@dataclass(frozen=True, eq=False)
class Chain:
    """A guitar with a design, and what it feeds, at work.

    Attributes
    ----------
    step : callable
        From a block of the take, shape (n,), and the dial beside it to what is heard.
    latency : int
        Samples by which it is late.
    knob_latency : int
        Samples by which the take is late where the knob meets it.
    """

    step: Step
    latency: int
    knob_latency: int


def chain_of(
    rig: Rig, design: Design, sample_rate_hz: float, dirt: AnyDirt | None, volts_per_unit: float
) -> Chain:
    """A chain at rest.

    Parameters
    ----------
    rig : Rig
    design : Design
    sample_rate_hz : float
    dirt : Dirt, Stage or None
    volts_per_unit : float
        As `Voice` has it: volts at a curve for a sample value of 1, or of EMF into a circuit.
    """
    fed = rig if dirt is None else rig.feeding(load_of(dirt))
    if isinstance(dirt, Stage):
        driven = Driven(fed, (design,), sample_rate_hz, volts_per_unit)
        return _into_circuit(driven, amplitude(dirt.level_db))
    renderer = Renderer(fed, (design,), sample_rate_hz)
    (recursion,) = renderer.recursions
    played, late = _played(renderer.filters, sample_rate_hz, recursion)
    guitar = played.step
    if dirt is None:
        return Chain(guitar, late, late)
    clip, more = _clipping(dirt, sample_rate_hz, volts_per_unit)
    return Chain(lambda block, dial: clip(guitar(block, dial)), late + more, late)


def _into_circuit(driven: Driven, level: float) -> Chain:
    played, late = _played(driven.filters, driven.sample_rate_hz)
    (steps,) = driven.steps
    (standing,) = at_rest(steps, 1)
    fine = driven.oversampling
    bins = np.linspace(0.0, 0.5 * driven.sample_rate_hz, WINDOW // 2 + 1)
    response = band_limit(bins, driven.sample_rate_hz) / fine
    down, more = _down(response, driven.sample_rate_hz, fine, fine - 1)

    def step(block: Array, dial: Dial) -> Array:
        out = np.empty(block.size * fine)
        volts = driven.emf_volts * played.emf(block)
        failed = advance_circuit(steps, _along(dial, block.size), volts, standing, out)
        driven.require_solved(0, failed, 0)
        return np.asarray(level * down(out.reshape(-1, fine).T)[0])

    return Chain(step, late + more, late)


def _clipping(
    dirt: Dirt, sample_rate_hz: float, volts_per_unit: float
) -> tuple[Callable[[Array], Array], int]:
    """A curve, as `clip.clipped` has it."""
    table = tabulate(dirt)
    emphasis = pre_emphasis(dirt, sample_rate_hz)
    emphasis[:, :3] *= volts_per_unit
    block_dc = first_order_high_pass(DC_BLOCK_HZ, sample_rate_hz)
    before, after = running_sections(emphasis), running_sections(block_dc)
    up, first = _up(up_response(sample_rate_hz), sample_rate_hz)
    down, then = _down(down_response(dirt, sample_rate_hz), sample_rate_hz, OVERSAMPLING, 0)
    # A sample before and one after, since the average reaches to both neighbours.
    held = np.zeros(2 * OVERSAMPLING)

    def step(block: Array) -> Array:
        nonlocal held
        driven = np.empty((1, block.size))
        before(block, driven[0])
        fine = np.concatenate([held, up(driven).T.ravel()])
        held = fine[-2 * OVERSAMPLING :]
        shaped = np.empty_like(fine)
        shape_averaged(table.curves, table.first, table.step, table.short, fine, shaped)
        inner = shaped[OVERSAMPLING:-OVERSAMPLING]
        out: Array = down(inner.reshape(-1, OVERSAMPLING).T)[0]
        after(out, out)
        return out

    return step, first + then + 1


def _running(kernels: Array) -> Callable[[Array], Array]:
    """Short sums over a stream: from signals of shape (p, n) to results of shape (q, n)."""
    kernels = np.ascontiguousarray(kernels)
    results, signals, taps = kernels.shape
    held = np.zeros((signals, taps - 1))

    def run(block: Array) -> Array:
        nonlocal held
        whole = np.concatenate([held, block], axis=1)
        held = whole[:, whole.shape[1] - taps + 1 :].copy()
        out = np.empty((results, block.shape[1]))
        combine(whole, kernels, out)
        return out

    return run


def _played(
    bank: FilterBank, sample_rate_hz: float, recursion: Recursion | None = None
) -> tuple[Played, int]:
    """From a take to the EMF, and through the knob where there is one; by how much it is late."""
    short = brief(bank, sample_rate_hz)
    assert bank.kernels is not None
    knob = () if recursion is None else (recursion.table, recursion.dials)
    filters = short.impulses[:, ::-1]
    return Played(filters, short.poles, short.weights, bank.kernels, *knob), short.lead + bank.reach


def _up(response: Array, sample_rate_hz: float) -> tuple[Callable[[Array], Array], int]:
    """To so many fine samples each, from a response over the audio band; by how much it is late."""
    fine = np.fft.irfft(response, WINDOW * OVERSAMPLING)
    late = reach(fine, sample_rate_hz, OVERSAMPLING)
    at = OVERSAMPLING * np.arange(late, -late - 1, -1) + np.arange(OVERSAMPLING)[:, np.newaxis]
    return _running(fine[at][:, np.newaxis]), late


def _down(
    response: ComplexArray | Array, sample_rate_hz: float, factor: int, last: int
) -> tuple[Callable[[Array], Array], int]:
    """Back to the samples, of which the fine one `last` is the sample's own instant."""
    fine = factor * np.fft.irfft(response, WINDOW * factor)
    late = reach(fine, sample_rate_hz, factor)
    at = factor * np.arange(late, -late - 1, -1) + last - np.arange(factor)[:, np.newaxis]
    return _running(fine[at][np.newaxis]), late


class Stream:
    """A guitar under the hands: what comes in as blocks goes out as blocks.

    Attributes
    ----------
    latency : int
        Samples by which the output is late, whatever it feeds by now.
    knob_latency : int
        Samples by which the take is late where the knob meets it: what follows, a dirt,
        adds the rest.
    """

    def __init__(self, chain: Chain, sample_rate_hz: float) -> None:
        self.latency, self.knob_latency = chain.latency, chain.knob_latency
        self._chain = chain
        self._rate_hz = sample_rate_hz
        self._now: Step = _later(chain, self.latency)
        self._coming: Step | None = None
        self._heard = 0
        self._dial: float | None = None

    def process(self, block: Array, dial: float | Array) -> Array:
        """The next samples.

        Parameters
        ----------
        block : ndarray, shape (n,)
            What is played.
        dial : float or ndarray, shape (n,)
            Where the volume knob stands as these samples come in, which meets what came
            `knob_latency` before; one number is reached at the block's end, along a
            straight line from the last.

        Returns
        -------
        ndarray, shape (n,)
        """
        block = np.asarray(block, np.float64)
        turned = self._turned(dial, block.size)
        out = self._now(block, turned)
        if self._coming is None or not block.size:
            return out
        other = self._coming(block, turned)
        time_s = (self._heard + np.arange(block.size)) / self._rate_hz - _SETTLING_S
        self._heard += block.size
        share = np.clip(time_s / _FADE_S, 0.0, 1.0)
        if share[-1] >= 1.0:
            self._now, self._coming = self._coming, None
        return np.asarray(out + share * (other - out))

    def become(self, other: "Stream") -> None:
        """Go on as another stream, which is no longer used: other parts, dirt or input.

        It comes in without a click once it has settled, in a sixth of a second. What
        is less late than this stream is delayed to it; what is later makes it as late.

        Parameters
        ----------
        other : Stream
            At the same rate, that has not run yet.
        """
        chain = other._chain
        later = max(0, chain.latency - self.latency)
        if later:
            fade = round(_FADE_S * self._rate_hz)
            self._now, self.latency = _delayed(self._now, later, fade), chain.latency
        self._coming, self._heard = _later(chain, self.latency), 0
        self._chain, self.knob_latency = chain, chain.knob_latency

    def _turned(self, dial: float | Array, count: int) -> Dial:
        # Asked first what it most often is, since this comes with every block.
        if not isinstance(dial, float) and np.ndim(dial):
            dials = np.clip(np.broadcast_to(np.asarray(dial, np.float64), count), 0.0, DIAL_MAX)
            if count:
                self._dial = float(dials[-1])
            return dials
        end = min(max(float(dial), 0.0), DIAL_MAX)
        start = end if self._dial is None else self._dial
        if count:
            self._dial = end
        return start, end


def _along(dial: Dial, count: int) -> Array:
    """Of each sample of a block."""
    if isinstance(dial, np.ndarray):
        return dial
    start, end = dial
    return np.asarray(start + (end - start) * np.arange(1, count + 1) / max(count, 1))


def _later(chain: Chain, latency: int) -> Step:
    return _delayed(chain.step, latency - chain.latency)


def _delayed(step: Step, samples: int, fade: int = 0) -> Step:
    """So many samples later; of what runs already, faded over once there is so much."""
    if not samples:
        return step
    held, ran = np.zeros(samples), 0

    def run(block: Array, dial: Dial) -> Array:
        nonlocal held, ran
        whole = np.concatenate([held, step(block, dial)])
        held = whole[block.size :]
        late = whole[: block.size]
        if ran < samples + fade and fade:
            soon = whole[samples:]
            share = np.clip((ran + np.arange(block.size) - samples) / fade, 0.0, 1.0)
            late = soon + share * (late - soon)
        ran += block.size
        return late

    return run
