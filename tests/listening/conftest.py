"""Small packs' pages, for all tests of the page."""

from pathlib import Path

import pytest
import soundfile

from probing import probed
from running import presolder
from takes import SAMPLES


@pytest.fixture(scope="session")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page with a window into it, of three designs and with recordings."""
    folder = tmp_path_factory.mktemp("live")
    take, rate = soundfile.read(SAMPLES / "chords.flac")
    soundfile.write(folder / "take.wav", take[: int(2.5 * rate)], rate)
    result = presolder(
        "pack", folder / "take.wav", "--rig", "humbucker-500k", "--design", "bare", "--design",
        "68k + 1n5", "--design", "gang(500k, audio, zero) + 150p", "--hold", "10,5", "--travel",
        "1", "--light", "--recordings", "--out", folder / "out",
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    return probed(folder / "out" / "index.html")


@pytest.fixture(scope="session")
def eight(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page to mail, with a window into it: eight designs and five seconds, no recordings."""
    folder = tmp_path_factory.mktemp("eight")
    take, rate = soundfile.read(SAMPLES / "chords.flac")
    soundfile.write(folder / "take.wav", take[: 5 * rate], rate)
    names = ("bare", "cap", "series", "parallel", "series-strong", "gang-series", "series-parallel",
             "cap-strong")  # fmt: skip
    designs = [word for name in names for word in ("--design", name)]
    out = folder / "mail.html"
    done = presolder(
        "pack", folder / "take.wav", *designs, "--travel", "1", "--single-file", "--out", out
    )
    assert done.returncode == 0, done.stderr
    return probed(out)
