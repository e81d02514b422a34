"""Both real recordings through every built-in design, knob sweeping."""

import numpy as np
import pytest

from presolder.models.audio.flaws import flaws
from presolder.models.audio.knob import steady_turn
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.rig import Rig
from presolder.render.files.take import Take
from rendering import rendered

# One of each topology, and the plainest twice.
DESIGNS = short_list()

PATH = steady_turn(10.0, 0.0, 2.5, 0.4)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["chords", "phrase"])
def test_no_click_no_dc_exact_length_and_deterministic(
    name: str, takes: dict[str, Take], humbucker: Rig
) -> None:
    take = takes[name]
    rate = take.sample_rate_hz
    outputs = rendered(take.samples, rate, humbucker, DESIGNS, PATH)
    assert outputs.shape == (len(DESIGNS), 1, round(PATH.duration_s * rate))
    assert np.all(np.isfinite(outputs))
    source = take.samples[0, : outputs.shape[-1]]
    # A click is a jump, which stands out in the second difference. Turning
    # down may brighten (resonance moves up) but not beyond twice the take's own.
    bend = np.abs(np.diff(source, 2)).max()
    assert np.abs(np.diff(outputs[:, 0], 2, axis=-1)).max() < 2 * bend
    assert np.abs(outputs.mean(axis=-1)).max() < abs(source.mean()) + 1e-4
    assert np.array_equal(outputs, rendered(take.samples, rate, humbucker, DESIGNS, PATH))
    for block in (997, 4096, 1 << 20):
        again = rendered(take.samples, rate, humbucker, DESIGNS, PATH, block)
        assert np.array_equal(outputs, again), block


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_clipping_and_peaks_on_either_side(sign: float) -> None:
    """What is cut off below counts as what is cut off above; so does the peak for DC."""
    rate = 48_000
    tone = np.sin(2 * np.pi * 110 * np.arange(2 * rate) / rate)
    cut = sign * np.maximum(0.6 * tone, -0.3)[np.newaxis]
    assert flaws(cut, rate).clipped_runs >= 200
    # A pulse of one sign: its mean over its height.
    pulse = np.zeros((1, 2 * rate))
    pulse[0, : rate // 10] = sign * np.hanning(rate // 10)
    share_db = 20 * np.log10(np.abs(pulse.mean()) / np.abs(pulse).max())
    assert flaws(pulse, rate).dc_db == pytest.approx(share_db, abs=1e-6)
