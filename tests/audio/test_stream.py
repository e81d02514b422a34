"""A guitar played block by block is the render of what was played."""

import numpy as np
import pytest
import scipy.signal

import presolder as ps
from presolder.models.audio.brief import brief
from presolder.models.audio.emf import filters_for
from presolder.models.audio.knob import KnobPath, dial_at
from presolder.models.core import Played
from presolder.models.errors import InputError
from presolder.models.typing import Array

RATE = 48_000


@pytest.fixture(scope="module")
def take() -> ps.Take:
    """A second and a half from silence to silence."""
    chords = ps.sample("chords").samples[:, : 3 * RATE // 2]
    return ps.Take(chords * np.hanning(chords.shape[1]), RATE)


def played(stream: ps.Stream, samples: Array, path: KnobPath, block: int) -> Array:
    """What a stream makes of a take, the knob on the path where it meets it."""
    samples = np.append(samples, np.zeros(stream.latency))
    out = []
    for first in range(0, samples.size, block):
        piece = samples[first : first + block]
        at = (first + np.arange(piece.size) - stream.knob_latency - 0.5) / RATE
        out.append(stream.process(piece, dial_at(path, np.maximum(at, 0.0))))
    return np.concatenate(out)[stream.latency :]


@pytest.mark.parametrize(
    ("dirt", "limit_db", "late_ms"),
    # Measured -140.5, -138.7 and -137.8 dB, and from the jack 3.5, 7.8 and 5.8 ms late.
    [(None, -136, 5), pytest.param("smooth", -134, 11, marks=pytest.mark.slow), pytest.param("germanium-fuzz", -133, 8, marks=pytest.mark.slow)],
)  # fmt: skip
@pytest.mark.parametrize(("block", "captured"), [(64, "jack"), (1000, "string")])
def test_stream_is_the_render(
    take: ps.Take, dirt: str | None, limit_db: float, late_ms: float, block: int, captured: str
) -> None:
    path = KnobPath((0.0, 0.5, 0.9, 1.5), (10.0, 10.0, 2.0, 8.0))
    rig = ps.rig("humbucker-500k", captured=captured)
    (true,) = ps.render(take, rig, ["series"], path, dirt=dirt).values()
    stream = ps.stream(rig, "series", RATE, dirt=dirt, like=take)
    off = played(stream, take.samples[0], path, block) - true[0][: take.samples.shape[1]]
    assert 20 * np.log10(off.std() / true.std()) < limit_db
    assert 1000 * stream.latency / RATE < late_ms


@pytest.mark.parametrize(
    ("rig", "captured"), [("humbucker-500k", "string"), *((one.name, "jack") for one in ps.rigs())]
)
def test_short_forms_are_the_whole_filters(rig: str, captured: str) -> None:
    """Beside scipy's convolution with the whole ones, of noise in the band that is heard."""
    bank = filters_for(ps.rig(rig, captured=captured), RATE)
    short = brief(bank, RATE)
    each = np.eye(len(bank.impulses))[:, :, np.newaxis]
    band = scipy.signal.butter(4, (20, 15_000), "bandpass", fs=RATE, output="sos")
    noise = scipy.signal.sosfilt(band, np.random.default_rng(0).normal(size=2 * RATE))
    heard = Played(short.impulses[:, ::-1], short.poles, short.weights, each).emf(noise)
    true = scipy.signal.fftconvolve(noise[np.newaxis], bank.impulses, axes=1)
    early = bank.lead - short.lead
    off = heard[:, :RATE] - true[:, early : early + RATE]
    # Measured -135.1 dB from the strings, and at worst -138.4 dB, the piezo's.
    assert 20 * np.log10(off.std() / true.std()) < -130
    if "piezo" not in rig:
        # Measured 432 taps at most, of up to 7,840.
        assert short.impulses.shape[1] < 700
        # By so much a guitar comes late, measured 2.1 and at most 4.5 ms.
        assert short.lead + bank.reach < (0.003 if captured == "string" else 0.006) * RATE


def test_knob_of_one_number_a_block_does_not_step() -> None:
    """Turned by whole marks between blocks, a tone changes no faster than it does itself."""
    stream = ps.stream("humbucker-500k")
    tone = np.sin(2 * np.pi * 220 * np.arange(RATE) / RATE)
    dials = [10, 6, 9, 3, 8] * 150
    heard = np.concatenate([
        stream.process(tone[64 * i : 64 * i + 64], dial) for i, dial in enumerate(dials)
    ])[4800:]  # fmt: skip
    assert np.abs(np.diff(heard)).max() < 3 * 2 * np.pi * 220 / RATE * np.abs(heard).max()


def test_a_long_block_is_as_short_ones_and_dials_may_be_a_list() -> None:
    """The knob goes along one line from the block before to the end of this one."""
    noise = 0.1 * np.random.default_rng(0).normal(size=5000)
    one, other = (ps.stream("humbucker-500k", "series") for _ in range(2))
    for stream in (one, other):
        stream.process(noise[:10], 9.0)
    along = 9.0 - 6.0 * np.arange(1, 4991) / 4990
    whole = one.process(noise[10:], 3)
    pieces = [
        other.process(noise[10:][at : at + 500], list(along[at : at + 500]))
        for at in range(0, 4990, 500)
    ]
    # Measured 3e-16.
    assert np.concatenate(pieces) == pytest.approx(whole, abs=1e-13)


@pytest.mark.slow
def test_other_parts_and_dirt_come_in_without_a_click(take: ps.Take) -> None:
    """Two designs, then a fuzz and back: under a low tone no step, and each is then what it is."""
    tone = 0.2 * np.sin(2 * np.pi * 110 * np.arange(2 * RATE) / RATE)
    stream = ps.stream("humbucker-500k")
    heard = []
    for i in range(0, 2 * RATE - 480, 480):
        if i == RATE // 2 // 480 * 480:
            stream.become(ps.stream("humbucker-500k", "parallel-strong"))
        if i == RATE // 480 * 480:
            stream.become(ps.stream("humbucker-500k", "bare", dirt="smooth", like=take))
        heard.append(stream.process(tone[i : i + 480], 5.0))
    out = np.concatenate(heard)
    for piece in (out[RATE // 4 : RATE], out[RATE : RATE + RATE // 8]):
        steepest = 2 * np.pi * 110 / RATE * np.abs(piece).max()
        assert np.abs(np.diff(piece)).max() < 1.5 * steepest
    alone = ps.stream("humbucker-500k", "bare", dirt="smooth", like=take)
    true = np.concatenate([
        alone.process(tone[i : i + 480], 5.0) for i in range(0, 2 * RATE - 480, 480)
    ])  # fmt: skip
    assert stream.latency == alone.latency
    tail = slice(-RATE // 8, None)
    assert out[tail] == pytest.approx(true[tail], abs=1e-3 * np.abs(true).max())


def test_what_cannot_be_used(take: ps.Take) -> None:
    with pytest.raises(InputError, match="wants like="):
        ps.stream("humbucker-500k", dirt="smooth")
    with pytest.raises(InputError, match="48000 Hz, and the stream 44100 Hz"):
        ps.stream("humbucker-500k", "bare", 44_100, dirt="smooth", like=take)
    with pytest.raises(InputError, match="sample_rate = 5"):
        ps.stream("humbucker-500k", "bare", 5)
