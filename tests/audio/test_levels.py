"""Levels and inputs by hand: what a file, a curve, a loudspeaker and a meter must do to a known signal."""

import os
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

import presolder as ps
from presolder.models.audio.clip import clipped
from presolder.models.audio.drive import loudest_second
from presolder.models.audio.flaws import folded, sounding
from presolder.models.audio.loop import fitted_blocks
from presolder.models.audio.loudness import gated_loudness, hop_powers
from presolder.models.audio.voicing import measured_speaker, voiced
from presolder.models.errors import InputError
from presolder.models.instrument.dirt import DIRT_KINDS, Dirt
from presolder.models.instrument.quantities import parse_quantity
from presolder.render.files.audio import write_audio
from presolder.render.files.folder import new_file, new_folder
from running import presolder_here
from takes import DOCS, SAMPLES

RATE = 48_000
LSB = 2.0**-15


def test_sixteen_bits_are_dithered_with_a_triangle(tmp_path: Path) -> None:
    """Below one step the mean survives, and the error's power is a quarter of a step's square.

    Lipshitz, Wannamaker and Vanderkooy, Quantization and Dither, JAES 40 (1992): with
    triangular dither of two steps neither depends on the signal.
    """
    for level in (0.0, 0.3, 0.5):
        write_audio(tmp_path / "a.wav", [np.full((1, 200_000), level * LSB)], RATE, 1, "16")
        found = soundfile.read(tmp_path / "a.wav")[0] / LSB
        assert found.mean() == pytest.approx(level, abs=0.01)
        assert np.square(found - level).mean() == pytest.approx(0.25, rel=0.03)
    write_audio(tmp_path / "a.wav", [np.full((1, 100), 0.3 * LSB)], RATE, 1, "24")
    assert soundfile.read(tmp_path / "a.wav")[0] / LSB == pytest.approx(0.3, abs=2.0**-8)


@pytest.mark.parametrize("gain", [1e-3, 1.0, 70.0])
def test_an_impulse_response_is_heard_at_its_loudest_frequency_as_it_came(gain: float) -> None:
    impulse = gain * np.random.default_rng(0).normal(size=800) * np.exp(-np.arange(800) / 90)
    unit = np.zeros((1, 4096))
    unit[0, 0] = 1.0
    heard = np.concatenate(list(voiced([unit], measured_speaker(impulse, RATE, RATE))), axis=1)
    assert np.abs(np.fft.rfft(heard[0], 1 << 16)).max() == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize("kind", DIRT_KINDS)
def test_a_curves_level_and_input_are_as_documented(kind: str) -> None:
    tone = 0.5 * np.sin(2 * np.pi * 440 * np.arange(RATE // 4) / RATE)[np.newaxis]
    plain, louder = (
        np.concatenate(list(clipped([tone], RATE, Dirt(kind, level_db=db), 3.0)), axis=1)  # type: ignore[arg-type]
        for db in (0.0, 6.0)
    )
    assert louder == pytest.approx(plain * 10 ** (6 / 20))
    page = (DOCS / "model.md").read_text("utf-8")
    found = re.search(rf"^\| `{kind}` \|.*\| ([\d.]+ [kM]Ω), (\d+ pF) \|$", page, re.MULTILINE)
    assert found is not None
    load = Dirt(kind).load  # type: ignore[arg-type]
    assert load.resistance_ohms == parse_quantity(found[1], "ohm")
    assert load.capacitance_farads == pytest.approx(parse_quantity(found[2], "farad"))


def test_the_loudest_second_is_a_second() -> None:
    """Half a second at 1 has less energy in any second than a whole one at 0.8."""
    signal = np.zeros((1, 5 * RATE))
    signal[0, RATE // 2 : RATE] = 1.0
    signal[0, 3 * RATE : 4 * RATE] = 0.8
    for blocks in ([signal], np.array_split(signal, 77, axis=1)):
        found = loudest_second(blocks, RATE)
        assert (found.peak, found.rms) == pytest.approx((0.8, 0.8))
    short = loudest_second([np.full((2, 1000), 0.1)], RATE)
    assert (short.peak, short.rms) == pytest.approx((0.1, 0.1))


def test_each_tenth_of_a_second_has_its_own_samples() -> None:
    """A click on the last sample of the first is in the first; what is left over counts nowhere."""
    hop = RATE // 10
    for at, first in ((hop - 1, 0), (hop, 1), (2 * hop - 1, 1), (3 * hop, None)):
        click = np.zeros((1, 3 * hop + 10))
        click[0, at] = 1.0
        found = np.flatnonzero(hop_powers([click[:, :700], click[:, 700:]], RATE))
        assert (found[0] if found.size else None) == first


@pytest.mark.parametrize(("level_db", "heard"), [(-20.0, True), (-65.0, True), (-71.0, False)])
def test_the_gate_of_loudness_lies_at_70_below(level_db: float, heard: bool) -> None:
    """A full-scale 997 Hz sine reads -3.01 LUFS; ITU-R BS.1770-4, and its absolute gate -70."""
    sine = np.sin(2 * np.pi * 997 * np.arange(3 * RATE) / RATE)[np.newaxis]
    found = gated_loudness(hop_powers([10 ** ((level_db + 3.01) / 20) * sine], RATE))
    assert found == pytest.approx(level_db, abs=0.02) if heard else found is None


@pytest.mark.parametrize(("softer_db", "counts"), [(11.5, True), (14.0, False)])
def test_the_relative_gate_lies_at_10_below_the_mean(softer_db: float, counts: bool) -> None:
    """Two halves: their mean is 2.7 or 2.8 dB below the louder, so the gate is 12.7 or 12.8 below."""
    time_s = np.arange(20 * RATE) / RATE
    tone = 0.1 * np.sin(2 * np.pi * 997 * time_s)
    both = np.concatenate([tone, tone * 10 ** (-softer_db / 20)])
    alone, together = (gated_loudness(hop_powers([one[None]], RATE)) for one in (tone, both))
    assert alone is not None and together is not None
    mean_db = 10 * np.log10((1 + 10 ** (-softer_db / 10)) / 2)
    assert together - alone == pytest.approx(mean_db if counts else 0.0, abs=0.05)


def test_a_seam_begins_with_what_was_and_ends_with_what_comes() -> None:
    take = np.linspace(0.0, 1.0, 24_000)[np.newaxis]
    looped = np.concatenate(list(fitted_blocks(take, 60_000, RATE)), axis=1)[0]
    fade = round(0.05 * RATE)
    begins = 24_000 - fade
    assert looped[:begins] == pytest.approx(take[0, :begins])
    assert looped[begins] == pytest.approx(take[0, begins], abs=1e-3)
    assert looped[begins + fade] == pytest.approx(take[0, fade], abs=1e-3)
    # No step larger than the seam's own slope, anywhere.
    assert np.abs(np.diff(looped)).max() < 2 * np.pi / 2 / fade
    assert looped[2 * begins : 2 * begins + 100] == pytest.approx(looped[begins : begins + 100])


def test_a_gain_that_would_clip_is_refused_to_the_tenth_of_a_db(tmp_path: Path) -> None:
    words = (
        "render",
        SAMPLES / "phrase.flac",
        "--design",
        "bare",
        "--travel",
        "0.5",
        "--rest",
        "0",
    )
    whole = ps.render(
        ps.sample("phrase"), "humbucker-500k", ["bare"], ps.turn(10, 0, travel=0.5, rest=0)
    )
    room_db = -20 * np.log10(np.abs(whole["bare"]).max())
    for off, status in ((-0.1, 0), (0.1, 2)):
        out = tmp_path / f"{status}"
        done = presolder_here(*words, "--gain-db", f"{room_db + off}", "--out", out)
        assert (done.returncode, out.exists()) == (status, status == 0), done.stderr
    # By how much, and what fits, rounded down to a hundredth.
    by, most = (
        float(x)
        for x in re.findall(r"clip design 'bare' by (\S+) dB; at most (\S+) dB", done.stderr)[0]
    )
    assert by == pytest.approx(0.1, abs=0.0051)
    assert 0 <= room_db - most <= 0.0101


@pytest.mark.skipif(os.name != "posix", reason="file modes are of POSIX")
@pytest.mark.parametrize(
    ("mask", "file_mode", "folder_mode"), [(0o022, 0o644, 0o755), (0o077, 0o600, 0o700)]
)
def test_files_get_the_permissions_that_the_user_set(
    tmp_path: Path, mask: int, file_mode: int, folder_mode: int
) -> None:
    before = os.umask(mask)
    try:
        with new_file(tmp_path / "a") as scratch:
            scratch.write_text("a")
        with new_folder(tmp_path / "b", force=False) as scratch:
            (scratch / "c").write_text("c")
        assert os.umask(mask) == mask
    finally:
        os.umask(before)
    assert (tmp_path / "a").stat().st_mode & 0o777 == file_mode
    assert (tmp_path / "b").stat().st_mode & 0o777 == folder_mode


def test_a_place_that_fills_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with (
        pytest.raises(InputError, match="has files in it"),
        new_folder(out, force=False) as scratch,
    ):
        (scratch / "mine").write_text("mine")
        out.mkdir()
        (out / "theirs").write_text("theirs")
    assert [path.name for path in tmp_path.rglob("*")] == ["out", "theirs"]


@pytest.mark.slow
def test_cleanup_writes_percents_and_refuses_loud_hum() -> None:
    words = ("cleanup", "--design", "bare", "--dirt", "smooth")
    rows = presolder_here(*words, "--csv", "-").stdout.splitlines()
    names, last = rows[0].split(","), rows[-1].split(",")
    percent = float(last[names.index("thd_percent")])
    # A tanh driven 20 dB past its knee is nearly a square wave, whose distortion is 48 %.
    assert last[names.index("dial")] == "10" and 25.0 < percent < 48.4
    refused = presolder_here(*words, "--hum-db", "3")
    assert refused.returncode == 2 and "--hum-db" in refused.stderr


def test_silence_before_and_after_is_left_out() -> None:
    """But for 30 ms, with which a note may begin."""
    rate = 48_000
    tone = 0.1 * np.sin(2 * np.pi * 220 * np.arange(rate) / rate)
    take = np.concatenate([np.zeros(rate), tone, np.zeros(2 * rate)])[np.newaxis]
    left = sounding(take, rate)
    assert left.shape[1] / rate == pytest.approx(1.06, abs=0.002)
    assert np.abs(left[0, round(0.031 * rate) : round(0.04 * rate)]).max() > 0.05


def test_two_channels_are_one_where_their_difference_is_60_db_down() -> None:
    """Half the difference of channels a +- b is b, their mean a."""
    common, other = np.random.default_rng(0).normal(0, 0.1, (2, 48_000))
    other *= np.std(common) / np.std(other)
    for down_db, channels in ((59.0, 2), (61.0, 1)):
        side = other * 10 ** (-down_db / 20)
        side -= common * (side @ common) / (common @ common)
        made = folded(np.array([common + side, common - side]))
        assert made.shape[0] == channels
    assert made[0] == pytest.approx(common)
    assert folded(made) is made
