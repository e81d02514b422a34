"""The first page that anyone sees: the point before the options."""

import re

import numpy as np
import soundfile

from takes import DOCS, ROOT

README = (ROOT / "README.md").read_text("utf-8")


def test_the_point_comes_before_the_options() -> None:
    """Picture, sounds and one command within the first screen; sixty lines before developers."""
    before = README.split("## For developers")[0]
    assert len(before.splitlines()) <= 60
    top = README.splitlines()[:14]
    assert any("page.png" in line for line in top) and any(".mp3" in line for line in top)
    assert any("presolder demo --open" in line for line in top)
    for caution in ("Start playback quiet", "Unplug the guitar", "fumes", "mains-powered"):
        assert caution in before
    assert "bash tests/run_all.sh" in README.split("## For developers")[1]


def test_all_that_it_shows_is_there() -> None:
    linked = re.findall(r"\]\((docs/[^)#]+)\)", README)
    assert len(linked) >= 14
    for name in linked:
        assert (ROOT / name).exists(), name


def test_its_sounds_are_short_and_tell_the_difference() -> None:
    """Some fifteen seconds under 120 kB each; with parts more treble is left at 7 and on the way."""
    treble = {}
    for name in ("plain", "one-part", "two-parts"):
        file = DOCS / "sounds" / f"{name}.mp3"
        assert file.stat().st_size < 120_000
        audio, rate = soundfile.read(file)
        assert 12 < audio.size / rate < 18
        power = np.abs(np.fft.rfft(audio[: int(4.8 * rate)])) ** 2
        hz = np.fft.rfftfreq(int(4.8 * rate), 1 / rate)
        high, low = (power[(hz > a) & (hz < b)].sum() for a, b in ((2000, 6000), (100, 600)))
        treble[name] = 10 * np.log10(high / low)
    assert treble["plain"] + 0.5 < treble["one-part"]
    assert treble["plain"] + 2 < treble["two-parts"]
