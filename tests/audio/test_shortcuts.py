"""What is worked out a quick way, against the plain way of numpy and scipy."""

import numpy as np
import pytest
import scipy

from presolder.models.audio.emf import emf_filters, kernels_between
from presolder.models.audio.flaws import flaws
from presolder.models.audio.knob import KnobPath, dials_of_steps
from presolder.models.audio.overlap import filtered, filtered_in_place, taken_from
from presolder.models.audio.sections import power_of_sections
from presolder.models.circuit.recursion import collocation_nodes

RATE = 48_000


def test_knob_along_a_stretch_and_across_corners() -> None:
    """At the middle of each step, by interpolation."""
    path = KnobPath((0.0, 0.01, 0.02, 0.021, 0.4), (10.0, 10.0, 3.0, 7.0, 7.0))
    for first, count in ((-300, 200), (-10, 30), (5, 400), (470, 20), (990, 5), (1100, 30_000)):
        middle_s = (np.arange(first, first + count) - 0.5) / RATE
        wanted = np.interp(middle_s, path.times_s, path.dials)
        got = dials_of_steps(path, first, count, RATE)
        assert got == pytest.approx(wanted, abs=1e-9)
    # Where it rests it does so exactly, which the loop makes use of.
    assert np.ptp(dials_of_steps(path, 2000, 5000, RATE)) == 0.0


def test_power_of_sections() -> None:
    sections = scipy.signal.butter(5, [300, 4000], "bandpass", fs=RATE, output="sos")
    hz = np.geomspace(20, 20_000, 60)
    true = np.square(np.abs(scipy.signal.sosfreqz(sections, hz, fs=RATE)[1]))
    assert power_of_sections(sections, hz, RATE) == pytest.approx(true, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("rate", [44_100, 48_000, 88_211])
@pytest.mark.parametrize("hz", [50.0, 60.0])
def test_hum_in_the_quietest_second(rate: int, hz: float) -> None:
    """Also at a rate that no two numbers make; by a transform of each whole second."""
    time_s = np.arange(int(3.5 * rate)) / rate
    take = 0.2 * np.random.default_rng(3).normal(size=time_s.size)
    take += 0.05 * np.sin(2 * np.pi * hz * time_s + 1) + 0.02 * np.sin(6 * np.pi * hz * time_s)
    window, whole, lines = np.hanning(rate), 0.0, []
    for first in range(0, 3 * rate, rate):
        powers = np.square(np.abs(np.fft.rfft(take[first : first + rate] * window)))
        whole += powers.sum()
        lines.append(powers[[int(hz), int(2 * hz), int(3 * hz)]].sum())
    found = flaws(take[np.newaxis], rate)
    assert found.hum_hz == hz
    assert found.hum_db == pytest.approx(10 * np.log10(3 * min(lines) / whole), abs=0.01)


def test_clipped_runs() -> None:
    """Two runs at the top and one at the bottom, one at either end of the take; a pair is none."""
    take = 0.3 * np.sin(np.arange(4000) / 9.0)
    take[:4], take[500:503], take[1000:1002], take[-3:] = 1.0, -1.0, 1.0, 1.0
    assert flaws(take[np.newaxis], RATE).clipped_runs == 3
    take[500:503] = 0.0
    assert flaws(take[np.newaxis], RATE).clipped_runs == 0
    # Pairs, at both ends and with a sample between them, are no runs beside three that are.
    take[:4], take[-3:], take[1003:1005] = 0.0, 0.0, 1.0
    take[:2], take[-2:], take[1002] = 1.0, 1.0, 0.9
    for first in (200, 204, 208):
        take[first : first + 3] = -1.0
    assert flaws(take[np.newaxis], RATE).clipped_runs == 3


def test_a_stream_taken_otherwise_than_it_was_cut() -> None:
    stream = np.random.default_rng(1).normal(size=(3, 2, 500))
    take = taken_from(stream[..., i : i + 70] for i in range(0, 500, 70))
    parts = [take(count) for count in (1, 0, 139, 70, 200, 90)]
    assert np.array_equal(np.concatenate(parts, axis=-1), stream)


def test_between_two_instants_of_each_sample() -> None:
    """Tones up to the end of the band at the nodes of a step: measured -153 dB and better."""
    phases, instants = np.array([-0.5, 0.0]), collocation_nodes() - 1.0
    kernels = kernels_between(instants, phases)
    reach = kernels.shape[2] // 2
    n = np.arange(-reach, 400 + reach)
    for turn in 2 * np.pi * np.array([0.01, 0.2, 0.35, 0.42, 0.49]):
        known = np.sin(turn * (n + phases[:, None]))
        for instant, weights in zip(instants, kernels, strict=True):
            got = sum(np.correlate(known[p], weights[p], "valid") for p in (0, 1))
            off = got - np.sin(turn * (np.arange(400) + instant))
            assert 20 * np.log10(np.abs(off).max()) < -148


def test_blocks_of_their_own_stay_as_they_are() -> None:
    """In place each block is overwritten by the next, and is the same while it lasts."""
    bank = emf_filters(RATE)
    noise = np.random.default_rng(2).normal(size=(2, 60_000))
    own = list(filtered([noise], bank))
    copies = [block.copy() for block in filtered_in_place([noise], bank)]
    assert len(own) > 2
    assert all(np.array_equal(a, b) for a, b in zip(own, copies, strict=True))
    assert sum(block.shape[2] for block in own) == 60_000
