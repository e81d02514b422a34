"""The examples of the documentation, each run as a script of its own would be."""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
import pytest

import presolder as ps
from takes import DOCS, SAMPLES

PAGE = (DOCS / "examples.md").read_text("utf-8")
SCRIPTS = dict(re.findall(r"^## (.*?)\n.*?^```python\n(.*?)^```", PAGE, re.M | re.S))


def test_there_are_as_many_as_titles() -> None:
    assert len(SCRIPTS) == PAGE.count("\n## ") == 11


@pytest.mark.slow
@pytest.mark.parametrize("title", list(SCRIPTS))
def test_examples_run(title: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    matplotlib.use("agg")
    shutil.copy(SAMPLES / "phrase.flac", "take.wav")
    Path("curve.csv").write_text("volts_in,volts_out\n-1,-0.5\n-0.2,-0.18\n0,0\n0.2,0.2\n1,0.7\n")
    hz = np.geomspace(100, 20_000, 80)
    # A coil of 8k and 4 H with 120 pF across, by hand.
    coil = 8e3 + 2j * np.pi * hz * 4.0
    ohms = coil / (1 + 2j * np.pi * hz * 120e-12 * coil)
    rows = zip(hz, abs(ohms), np.angle(ohms, deg=True), strict=True)
    Path("impedance.csv").write_text(
        "frequency_hz,impedance_ohms,phase_deg\n" + "".join(f"{a},{b},{c}\n" for a, b, c in rows)
    )
    for name, farads in (("cable", 480e-12), ("known", 330e-12)):
        rig = replace(ps.rig("humbucker-500k"), cable_farads=farads)
        gains = np.asarray(ps.response_db(rig, "bare", 10, hz[hz < 16e3]))
        table = np.stack([hz[hz < 16e3], gains], axis=1)
        np.savetxt(f"{name}.csv", table, delimiter=",", header="frequency_hz,gain_db", comments="")
    exec(compile(SCRIPTS[title], title, "exec"), {"__name__": "example"})
