"""The listening pack: names, levels, tags, the reel, and life without ffmpeg."""

import json
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import mutagen
import numpy as np
import pyloudnorm
import pytest
import soundfile

import presolder as ps
from ears import ear_of
from presolder.models.audio.knob import KnobPath
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import BUILT_IN
from presolder.models.instrument.rig import Rig
from presolder.render.files import delivery, ffmpeg
from presolder.render.files.audio import read_recording
from presolder.render.files.tags import Tags
from presolder.render.listening import pack as packs
from presolder.render.listening.after import After
from presolder.render.listening.job import PackJob
from rendering import band_rms, rms
from running import in_process, presolder, presolder_here
from takes import SAMPLES

pytestmark = pytest.mark.slow

TAKE = str(SAMPLES / "phrase.flac")
DESIGNS = ("--design", "bare", "--design", "cap", "--design", "68k + 1n5")


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("pack") / "out"
    result = presolder(
        "pack", TAKE, *DESIGNS, "--hold", "10,7.5,2", "--travel", "2", "--dirt", "smooth",
        "--workshop", "Bench & Co", "--note", "Try 7.5 first", "--out", out,
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    assert result.stderr == "presolder: rig humbucker-500k, the built-in default (see --rig)\n"
    return out


def flac(pack: Path, stem: str) -> np.ndarray:
    return np.asarray(soundfile.read(pack / "archive" / f"{stem}.flac")[0])


def entries(pack: Path) -> dict[str, dict[str, Any]]:
    contents = json.loads((pack / "pack.json").read_text())
    return {entry["file"]: entry for entry in contents["files"]}


def heard(pack: Path, stem: str) -> np.ndarray:
    """A file's audio without loss: its archive with the gain that is told."""
    entry = entries(pack)[stem]
    return flac(pack, entry["archive"]) * 10 ** (entry["archive_gain_db"] / 20)


@pytest.mark.thorough
def test_names_sort_and_explain_themselves(pack: Path) -> None:
    listening = sorted(path.stem for path in (pack / "listen").glob("*.mp3"))
    # Three designs, two voices, a sweep and three dials at two levels, and the reel.
    assert len(listening) == 3 * 2 * (1 + 3 * 2) + 1
    assert "03_68k_series_1n5_dial-07.5_dirt_matched" in listening
    assert listening[:5] == [
        "00_reel", "01_bare_dial-02_dirt_matched", "01_bare_dial-02_dirt_true",
        "01_bare_dial-02_matched", "01_bare_dial-02_true",
    ]  # fmt: skip
    contents = json.loads((pack / "pack.json").read_text())
    assert sorted(entries(pack)) == listening[1:]
    assert contents["workshop"] == "Bench & Co"
    # Each piece once, without the matched ones.
    archived = {path.stem for path in (pack / "archive").glob("*.flac")}
    assert archived == {stem for stem in listening[1:] if not stem.endswith("_matched")}
    assert {entry["archive"] for entry in contents["files"]} == archived


@pytest.mark.parametrize("voice", ["", "_dirt"])
def test_matched_files_are_within_a_tenth_of_a_loudness_unit(pack: Path, voice: str) -> None:
    """Measured with the package pyloudnorm."""
    meter = pyloudnorm.Meter(48_000, filter_class="DeMan")
    matched = [
        heard(pack, f"{head}_dial-{dial}{voice}_matched")
        for head in ("01_bare", "02_cap", "03_68k_series_1n5")
        for dial in ("10", "07.5", "02")
    ]
    assert np.ptp([meter.integrated_loudness(audio) for audio in matched]) < 0.1
    peak_db = 20 * np.log10(max(np.abs(audio).max() for audio in matched))
    assert peak_db == pytest.approx(-1.0, abs=0.01)


def test_one_situation_has_no_table_over_all(pack: Path) -> None:
    page = (pack / "index.html").read_text("utf-8")
    assert "treble" in page and "all, by weight" not in page


def test_hum_louder_than_the_take_is_refused() -> None:
    assert After(hum_db=0.0).hum_db == 0
    for level_db in (0.1, -141.0):
        with pytest.raises(InputError, match=f"hum: {level_db:g} must lie between -140 and 0"):
            After(hum_db=level_db)


def test_true_files_share_one_gain(pack: Path) -> None:
    """At dial 10 all designs are one circuit; the sweep starts as that held position does."""
    held = [
        flac(pack, f"{head}_dial-10_true") for head in ("01_bare", "02_cap", "03_68k_series_1n5")
    ]
    assert rms(held[0] - held[1]) < 1e-6
    assert rms(held[0] - held[2]) < 1e-6
    sweep = flac(pack, "02_cap_sweep")
    start = slice(0, 22_050)
    assert rms(sweep[start] - held[1][start]) < 1e-6


def test_the_gains_that_are_told_are_those_of_the_files(pack: Path, tmp_path: Path) -> None:
    """Against a render of the same sweep, which has a gain of its own and tells it."""
    out = tmp_path / "out"
    in_process(
        "render",
        TAKE,
        "--design",
        "bare",
        "--travel",
        "2",
        "--rest",
        "1",
        "--gain-db",
        "-7",
        "--out",
        str(out),
    )
    manifest = json.loads((out / "manifest.json").read_text())
    assert manifest["output"]["gain_db"] == -7
    rendered = soundfile.read(out / "sweep" / "bare.wav")[0]
    gain_db = entries(pack)["01_bare_sweep"]["gain_db"]
    ratio = rms(flac(pack, "01_bare_sweep")) / rms(rendered)
    assert 20 * np.log10(ratio) == pytest.approx(gain_db + 7, abs=0.01)
    for one in entries(pack).values():
        true = entries(pack)[one["file"].replace("_matched", "_true")]
        assert one["gain_db"] - true["gain_db"] == pytest.approx(one["archive_gain_db"], abs=2e-4)
        assert one["gain_db"] == round(one["gain_db"], 4)


@pytest.mark.parametrize("stem", ["01_bare_dial-02_true", "02_cap_sweep"])
def test_listening_copies_are_as_loud_as_the_archive(pack: Path, stem: str, tmp_path: Path) -> None:
    """Decoded by ffmpeg; below 2 kHz, since the encoder leaves high treble out."""
    wav = tmp_path / "copy.wav"
    command = ["ffmpeg", "-v", "error", "-i", pack / "listen" / f"{stem}.mp3", wav]
    subprocess.run(command, check=True)
    copy, rate = soundfile.read(wav)
    lossless = flac(pack, stem)
    both = (band_rms(audio, rate, 60, 2000) for audio in (copy[: lossless.size], lossless))
    assert 20 * np.log10(next(both) / next(both)) == pytest.approx(0.0, abs=0.03)


def test_tags_read_back(pack: Path) -> None:
    """With the independent readers mutagen and ffprobe."""
    path = pack / "listen" / "02_cap_dial-02_true.mp3"
    tags = mutagen.File(path, easy=True)
    assert tags["title"] == ["cap: dial 2, true level"]
    assert tags["artist"] == ["Bench & Co"]
    assert tags["album"][0].startswith("humbucker")
    reel = mutagen.File(next((pack / "listen").glob("*reel*.mp3")), easy=True)
    assert reel["album"] == tags["album"] and reel["artist"] == tags["artist"]
    flac_ = mutagen.File(pack / "archive" / "02_cap_dial-02_true.flac")
    assert (flac_["title"], flac_["artist"], flac_["album"]) == (
        tags["title"], tags["artist"], tags["album"],
    )  # fmt: skip
    assert flac_["tracknumber"] == tags["tracknumber"]
    numbers = [
        int(mutagen.File(path)["tracknumber"][0]) for path in sorted((pack / "archive").iterdir())
    ]
    # As the listening copies are numbered, which are twice as many.
    assert len(set(numbers)) == len(numbers)
    listening = [
        int(mutagen.File(path, easy=True)["tracknumber"][0])
        for path in (pack / "listen").glob("0[1-9]*.mp3")
    ]
    assert sorted(listening) == list(range(1, len(listening) + 1))
    probe = subprocess.run(
        ["ffprobe", "-v", "error", "-show_format", "-of", "json", path],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    form = json.loads(probe.stdout)["format"]
    assert "design cap, dial 2" in form["tags"]["comment"]
    assert float(form["duration"]) == pytest.approx(4.8, abs=0.1)


def test_reel_steps_through_the_designs(pack: Path) -> None:
    reel = mutagen.File(pack / "listen" / "00_reel.mp3")
    # Six sweeps of 4 s and five gaps of 0.7 s.
    assert reel.info.length == pytest.approx(6 * 4 + 5 * 0.7, abs=0.1)


def test_the_reel_has_a_chapter_for_each_design(pack: Path) -> None:
    """Read by ffprobe, and told in what is in the pack."""
    probe = subprocess.run(
        ["ffprobe", "-v", "error", "-show_chapters", "-show_format", "-of", "json",
         pack / "listen" / "00_reel.mp3"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    found = json.loads(probe.stdout)
    names = ["bare", "cap", "68k + 1n5"]
    titles = [*names, *(f"{name}, dirt" for name in names)]
    assert [chapter["tags"]["title"] for chapter in found["chapters"]] == titles
    starts = [float(chapter["start_time"]) for chapter in found["chapters"]]
    assert starts == pytest.approx([4.7 * i for i in range(6)], abs=0.02)
    told = json.loads((pack / "pack.json").read_text())["reel_chapters"]
    assert [one["title"] for one in told] == titles
    assert [one["start_s"] for one in told] == pytest.approx([4.7 * i for i in range(6)], abs=1e-6)
    # And what else was said of it stays.
    assert found["format"]["tags"]["artist"] == "Bench & Co"
    assert not list((pack / "listen").glob("*.chapters"))


@pytest.mark.thorough
def test_a_take_with_two_like_channels_is_folded(tmp_path: Path) -> None:
    """70 dB apart they are one channel; 50 dB apart they stay two."""
    take, rate = soundfile.read(TAKE)
    noise = np.random.default_rng(4).normal(0, rms(take[: 2 * rate]), 2 * rate)
    for apart_db, channels in ((70, 1), (50, 2)):
        side = noise * 10 ** (-apart_db / 20)
        both = np.stack([take[: 2 * rate] + side, take[: 2 * rate] - side], 1)
        soundfile.write(tmp_path / "take.wav", both, rate, subtype="FLOAT")
        out = tmp_path / str(apart_db)
        done = presolder_here(
            "pack", tmp_path / "take.wav", "--design", "cap", "--hold", "5", "--travel", "1",
            "--out", out,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert soundfile.info(out / "archive" / "01_cap_sweep.flac").channels == channels


@pytest.mark.thorough
def test_stairs_beside_the_rest(tmp_path: Path) -> None:
    """In listening copies, in the archive, in a reel of their own, and in what is in it."""
    result = presolder_here("pack", TAKE, *DESIGNS[2:], "--hold", "5", "--travel", "1", "--stairs",
                       "--ab", "--stair-dials", "8,4", "--phrase", "1", "--out", tmp_path / "out")  # fmt: skip
    assert result.returncode == 0, result.stderr
    contents = json.loads((tmp_path / "out" / "pack.json").read_text())["comparisons"]
    stems = {entry["file"] for entry in contents["files"]}
    # The bare pot was not asked for, but is what the others stand beside.
    assert stems == {
        "01_bare_stairs", "02_cap_stairs", "03_68k_series_1n5_stairs", "02_cap_ab-true",
        "02_cap_ab-matched", "03_68k_series_1n5_ab-true", "03_68k_series_1n5_ab-matched",
    }  # fmt: skip
    for stem in stems:
        assert (tmp_path / "out" / "archive" / f"{stem}.flac").exists()
        assert (tmp_path / "out" / "listen" / f"{stem}.mp3").exists()
    reel = mutagen.File(tmp_path / "out" / "listen" / "00_reel_stairs.mp3")
    # Three designs at two dials, 1 s each with 0.25 s after it, and gaps of 0.7 s between.
    assert reel.info.length == pytest.approx(3 * 2.5 + 2 * 0.7, abs=0.15)


def test_zip_and_m4a(tmp_path: Path) -> None:
    out = tmp_path / "send.zip"
    result = presolder_here(
        "pack", TAKE, "--design", "cap", "--hold", "5", "--travel", "1", "--light", "--listening",
        "m4a", "--out", out,
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    with zipfile.ZipFile(out) as archive:
        assert archive.testzip() is None
        # The earliest that a zip can tell, so that the same pack is the same file.
        assert {one.date_time for one in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        names = archive.namelist()
        archive.extractall(tmp_path)
    assert "listening-pack/listen/01_cap_dial-05_matched.m4a" in names
    assert not any("archive" in name for name in names)
    assert [path.name for path in tmp_path.iterdir()].count("send.zip") == 1
    tags = mutagen.File(tmp_path / "listening-pack/listen/01_cap_sweep.m4a", easy=True)
    assert tags["title"] == ["cap: sweep"]


def test_single_file_and_its_limit(tmp_path: Path) -> None:
    options = ("--design", "cap", "--hold", "5", "--travel", "1", "--single-file")
    result = presolder_here("pack", TAKE, *options, "--out", tmp_path / "mail.html")
    assert result.returncode == 0, result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mail.html"]
    size = (tmp_path / "mail.html").stat().st_size
    assert f"one page with its audio, {size / 1e6:.1f} MB" in result.stdout
    refused = presolder_here("pack", TAKE, *options, "--out", tmp_path / "mail")
    assert refused.returncode == 2
    assert "must end in .html" in refused.stderr or "to end in .html" in refused.stderr


@pytest.mark.thorough
def test_single_file_too_large_to_mail(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, humbucker: Rig
) -> None:
    monkeypatch.setattr(packs, "MAIL_LIMIT_BYTES", 1000)
    path = KnobPath((0.0, 1.0), (10.0, 0.0))
    take = read_recording(Path(TAKE))
    for allow in (False, True):
        contents = ps.Contents((5.0,), path, single_file=True, allow_large=allow)
        job = PackJob(take, (ear_of(humbucker),), BUILT_IN[:1], After(), contents)
        if not allow:
            with pytest.raises(InputError, match="allow large"):
                packs.write_single_file(
                    job, tmp_path / "a.html", force=False, progress=lambda _: None
                )
            assert list(tmp_path.iterdir()) == []
        else:
            packs.write_single_file(job, tmp_path / "a.html", force=False, progress=lambda _: None)
            assert (tmp_path / "a.html").exists()


@pytest.fixture
def without_ffmpeg(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))


@pytest.mark.usefixtures("without_ffmpeg")
def test_without_ffmpeg_copies_are_written_all_the_same(tmp_path: Path) -> None:
    audio = 0.3 * np.sin(2 * np.pi * 440 * np.arange(44_100) / 44_100)[None]
    ending = delivery.listening_ending("m4a")
    path = tmp_path / f"a.{ending}"
    delivery.write_listening_copy(path, audio, 44_100, Tags("t", "d", "5", "r"))
    back, rate = soundfile.read(path)
    assert (rate, ending) == (44_100, "mp3")
    assert rms(back) == pytest.approx(rms(audio[0]), rel=0.05)
    with pytest.raises(InputError, match="reading M4A needs ffmpeg"):
        ffmpeg.decode_with_ffmpeg(tmp_path / "x.m4a", tmp_path / "x.wav", 10.0, tmp_path / "x.m4a")


@pytest.mark.parametrize("ending", ["m4a", "mp3", "aac"])
def test_compressed_takes_are_read(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"take.{ending}"
    subprocess.run(["ffmpeg", "-v", "error", "-i", TAKE, path], check=True)
    take, original = read_recording(path), read_recording(Path(TAKE))
    assert take.sample_rate_hz == 48_000
    assert take.duration_s == pytest.approx(original.duration_s, abs=0.15)
    # The usual MP3 encoder turns its input down by 0.95, all bands alike.
    scale = 0.95 if ending == "mp3" else 1.0
    assert rms(take.samples) == pytest.approx(scale * rms(original.samples), rel=0.02)
    path.write_bytes(b"not audio at all" * 100)
    with pytest.raises(InputError, match=r"cannot (decode it|be read) as audio|ffmpeg cannot"):
        read_recording(path)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--hold", "0,5"], "0 must lie above 0"),
        (["--hold", "10.5"], "10.5 must lie above 0 and up to 10"),
        (["--hold", "5,5"], "the same to a hand"),
        (["--hold", "x"], "must be numbers separated by commas"),
        (["--note", "n" * 3000], "at most 2000"),
    ],
)
def test_bad_pack_options(tmp_path: Path, options: list[str], message: str) -> None:
    result = presolder_here("pack", TAKE, *options, "--out", tmp_path / "out")
    assert result.returncode == 2
    assert message in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.thorough
def test_beeps_say_which_comes_next(tmp_path: Path) -> None:
    """High ones for the design, then low ones for the dial, a long one for five; a chapter each."""
    take = tmp_path / "quiet.wav"
    soundfile.write(take, 1e-3 * np.random.default_rng(0).standard_normal(2 * 48_000), 48_000)
    result = presolder(
        "pack", take, "--design", "bare", "--design", "series", "--hold", "8", "--travel", "1",
        "--stairs", "--stair-dials", "8,2", "--light", "--beeps", "--out", tmp_path / "out",
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    audio, rate = soundfile.read(tmp_path / "out" / "listen" / "00_reel_stairs.mp3")
    hop = rate // 100

    def runs(hz: float) -> list[float]:
        """Seconds of each run of hundredths in which a tone stands out of the rest."""
        frames = audio[: audio.size // hop * hop].reshape(-1, hop)
        turned = np.exp(-2j * np.pi * hz * np.arange(hop) / rate)
        share = np.abs(frames @ turned) ** 2 / (hop * (frames**2).sum(axis=1) + 1e-12)
        on = np.flatnonzero(np.diff(np.concatenate([[0], share > 0.3, [0]]).astype(int)))
        return [float(b - a) / 100 for a, b in on.reshape(-1, 2) if b - a >= 4]

    # Design 1 at 8 and 2, then design 2 at 8 and 2.
    high, low = runs(880), runs(440)
    assert len(high) == 1 + 1 + 2 + 2
    eight, two = [True, False, False, False], [False, False]
    assert [length > 0.15 for length in low] == [*eight, *two, *eight, *two]
