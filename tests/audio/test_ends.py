"""Sounds begin and end in silence, a take does not begin anew for an instant, and one setting of the
volume serves clean and dirty ones."""

import json
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile

import presolder as ps
from presolder.models.audio.ends import faded
from presolder.models.audio.loop import fitted_blocks, sounding_count
from running import in_process
from takes import SAMPLES

RATE = 48_000
TAKE = str(SAMPLES / "phrase.flac")


def louder_db(first: np.ndarray, second: np.ndarray) -> float:
    """By how much the loudest 400 ms of one is louder than that of another."""
    meter = pyloudnorm.Meter(RATE, filter_class="DeMan")
    size = round(0.4 * RATE)

    def loudest(audio: np.ndarray) -> float:
        pieces = (audio[at : at + size] for at in range(0, audio.size - size + 1, size // 4))
        return max(meter.integrated_loudness(np.tile(piece, 2)) for piece in pieces)

    return loudest(first) - loudest(second)


@pytest.mark.parametrize(
    "rig", ["humbucker-500k", "bass-two-pickups", "two-humbuckers-shared-tone"]
)
@pytest.mark.parametrize("turn", [("--from", "10", "--to", "6"), ("--from", "10", "--to", "0")])
def test_every_render_begins_and_ends_silent(
    tmp_path: Path, rig: str, turn: tuple[str, ...]
) -> None:
    """In the middle of a chord, at any dial; also where the other volume keeps sounding."""
    words = ("--start", "1.0", *turn, "--travel", "2", "--rest", "0.2", "--rig", rig)
    in_process("render", TAKE, "--design", "cap", *words, "--out", str(tmp_path / "out"))
    for path in (tmp_path / "out").rglob("*.wav"):
        audio, _ = soundfile.read(path, always_2d=True)
        assert np.abs(audio[[0, -1]]).max() < 1e-3 * np.abs(audio).max()
        # And softly: no step beside it is larger than the steps within.
        assert (
            np.abs(np.diff(audio[-480:, 0])).max() <= 1.2 * np.abs(np.diff(audio[:-480, 0])).max()
        )


def test_fades_do_not_depend_on_blocks() -> None:
    sound = np.random.default_rng(0).normal(size=(2, 5000))
    whole = np.concatenate(list(faded([sound], 5000, RATE)), axis=1)
    cut = np.concatenate(list(faded(np.split(sound, [7, 300, 481, 4900], 1), 5000, RATE)), axis=1)
    assert np.array_equal(whole, cut)
    assert np.array_equal(whole[:, 480:-480], sound[:, 480:-480])
    # Half of a raised cosine, at its middle a half.
    assert whole[:, 239:241].sum() == pytest.approx(0.5 * sound[:, 239:241].sum(), rel=0.02)


@pytest.mark.parametrize(
    ("seconds", "sounds"), [(9.97, 9.97), (4.8, 9.55), (4.2, 10.0), (0.6, 10.0)]
)
def test_a_take_does_not_begin_anew_for_less_than_a_second(seconds: float, sounds: float) -> None:
    """Of 10 s: 9.97 s are played once, 4.8 s twice (9.55 s with the crossfade), 4.2 s go on."""
    length, wanted = round(seconds * RATE), 10 * RATE
    take = np.full((1, length), 0.5)
    (whole,) = fitted_blocks(take, wanted, RATE, block=wanted)
    in_pieces = np.concatenate(list(fitted_blocks(take, wanted, RATE, block=1000)), axis=1)
    assert np.array_equal(whole, in_pieces)
    heard = np.flatnonzero(np.abs(whole[0]) > 1e-9)[-1] + 1
    assert heard / RATE == pytest.approx(sounds, abs=0.001)
    assert sounding_count(length, wanted, RATE) == pytest.approx(heard, abs=2)
    assert np.abs(np.diff(whole[0])).max() < 0.002


@pytest.mark.thorough
@pytest.mark.parametrize("dirt", ["germanium-fuzz", "smooth"])
def test_one_setting_serves_clean_and_dirt(tmp_path: Path, dirt: str) -> None:
    """At 10, of renders and in a pack: within 3 LU and what rounding of its windows makes."""
    common = (
        TAKE,
        "--design",
        "cap",
        "--from",
        "10",
        "--to",
        "9.9",
        "--travel",
        "3",
        "--rest",
        "0",
    )
    in_process("render", *common, "--out", str(tmp_path / "clean"))
    in_process("render", *common, "--dirt", dirt, "--out", str(tmp_path / "dirt"))
    clean, dirty = (
        soundfile.read(tmp_path / name / "sweep/cap.wav")[0] for name in ("clean", "dirt")
    )
    assert louder_db(dirty, clean) < 3.3
    take = ps.read(TAKE, end=2.0)
    made = ps.pack(
        tmp_path / "pack",
        take,
        "humbucker-500k",
        ["cap"],
        ps.Contents((10.0,), ps.turn(10, 9, travel=1)),
        dirt=dirt,
    )
    held = {
        one["voice"]: one for one in made["files"] if one["dial"] == 10 and one["level"] == "true"
    }
    audio = {
        voice: soundfile.read(tmp_path / "pack" / "archive" / f"{one['archive']}.flac")[0]
        for voice, one in held.items()
    }
    assert louder_db(audio["dirt"], audio["clean"]) < 3.3


def test_matched_files_are_all_as_loud_as_at_ten(tmp_path: Path) -> None:
    """Bare and design, at every dial, as the bare pot is at 10; by another meter."""
    in_process(
        "render", TAKE, "--design", "cap", "--ab", "--stairs", "--stair-dials", "10,6,3", "--travel",
        "1", "--out", str(tmp_path / "out"),
    )  # fmt: skip
    audio, rate = soundfile.read(tmp_path / "out" / "ab" / "cap_matched.flac")
    length, meter = round(2.5 * rate), pyloudnorm.Meter(rate, filter_class="DeMan")
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    matched = next(e for e in manifest["comparisons"]["files"] if e["kind"] == "ab_matched")
    at = [round(start * rate) for start in matched["starts_s"]]
    loud = [meter.integrated_loudness(audio[start : start + length]) for start in at]
    assert len(loud) == 9 and np.ptp(loud) < 0.1
    steps = next(e for e in manifest["comparisons"]["files"] if e["kind"] == "stairs")["starts_s"]
    assert np.diff(steps).min() >= 2.5
