"""A pot's track and taper by ohmmeter, simulated with resistors in series and parallel by hand."""

import json
from pathlib import Path

import numpy as np
import pytest
from tiers import some

from presolder.models.errors import InputError
from presolder.models.instrument.law import Taper, fraction_below_wiper
from presolder.models.measuring.track import track_at_jack, track_at_lugs, tracking
from presolder.models.typing import Array
from presolder.render.files.rig_file import read_rig
from running import in_process, presolder_here

DIALS = np.arange(1.0, 11.0)
LAWS = ("audio", "two-slope", "linear", "reverse-audio", "bent")


def parallel(*ohms: float) -> float:
    return 1 / sum(1 / one for one in ohms)


def law(kind: str, random: np.random.Generator) -> Array:
    """Fractions at the dials; "bent" is no named law: one that strays by up to 3 %."""
    middle = random.uniform(0.08, 0.25)
    if kind != "bent":
        return fraction_below_wiper(Taper(kind, middle), DIALS)  # type: ignore[arg-type]
    x = DIALS / 10
    wave = 0.03 * np.sin(np.pi * x * random.uniform(0.7, 1.5)) * np.sin(np.pi * x)
    return np.asarray(fraction_below_wiper(Taper("audio", middle), DIALS) + wave)


@pytest.mark.slow
@pytest.mark.parametrize(
    "kind",
    some(LAWS, {"audio", "linear"}.__contains__),
)
def test_closed_guitar_with_a_meter_of_one_percent(kind: str) -> None:
    """Track and winding within 2 %, taper within 0.01."""
    named = []
    for seed in range(6):
        random = np.random.default_rng(seed)
        track = float(random.choice([250e3, 500e3, 1e6]) * random.uniform(0.8, 1.2))
        winding = random.uniform(5e3, 16e3)
        fraction = law(kind, random)
        ohms = [parallel(a * track, (1 - a) * track + winding) for a in fraction]
        read = np.array(ohms) * (1 + random.uniform(-0.01, 0.01, DIALS.size))
        found = track_at_jack(DIALS, read)
        assert found.track_ohms == pytest.approx(track, rel=0.02)
        assert found.winding_ohms == pytest.approx(winding, rel=0.02)
        assert found.winding_error is not None
        assert np.abs(found.fraction - fraction).max() < 0.01
        assert np.abs(fraction_below_wiper(found.taper, DIALS) - fraction).max() < 0.01
        assert abs(found.track_ohms / track - 1) <= found.track_error < 0.04
        assert found.winding_ohms is not None
        assert abs(found.winding_ohms / winding - 1) <= found.winding_error < 0.04
        assert np.mean(np.abs(found.fraction - fraction) <= found.fraction_error) >= 0.9
        named.append(found.taper.kind)
    assert named.count("measured" if kind == "bent" else kind) >= 5  # type: ignore[arg-type]


def test_other_wiring_and_a_bypass_in_the_way() -> None:
    """Pickup at the wiper; a resistor of 150k across the upper part of the track."""
    fraction = fraction_below_wiper(Taper("audio", 0.12), DIALS)
    track, winding = 480e3, 7e3
    independent = [(1 - a) * track + parallel(a * track, winding) for a in fraction]
    found = track_at_jack(DIALS, np.array(independent), wiring="independent")
    assert found.track_ohms == pytest.approx(track, rel=0.005)
    assert found.winding_ohms == pytest.approx(winding, rel=0.005)
    upper = [parallel((1 - a) * track, 150e3) if a < 1 else 0.0 for a in fraction]
    fitted = [parallel(a * track, u + winding) for a, u in zip(fraction, upper, strict=True)]
    found = track_at_jack(DIALS, np.array(fitted), across_ohms=150e3)
    assert found.track_ohms == pytest.approx(track, rel=0.005)
    assert np.abs(found.fraction - fraction).max() < 0.002


def test_lugs_and_a_dual_pot() -> None:
    random = np.random.default_rng(4)
    sections = []
    for track, middle in ((510e3, 0.13), (470e3, 0.16)):
        fraction = fraction_below_wiper(Taper("audio", middle), DIALS)
        read = fraction * track * (1 + random.uniform(-0.01, 0.01, DIALS.size))
        sections.append(track_at_lugs(DIALS, read))
        assert sections[-1].track_ohms == pytest.approx(track, rel=0.02)
        assert np.abs(sections[-1].fraction - fraction).max() < 0.01
        assert sections[-1].winding_ohms is None
    dial = np.linspace(0, 10, 201)
    true = np.abs(
        fraction_below_wiper(Taper("audio", 0.13), dial)
        - fraction_below_wiper(Taper("audio", 0.16), dial)
    ).max()
    assert tracking(*sections) == pytest.approx(true, abs=0.01)


def options(ohms: Array, name: str = "--ohms") -> list[str]:
    return [
        word
        for dial, value in zip(DIALS, ohms, strict=True)
        for word in (name, f"{dial:g}={value / 1e3:.4g}k")
    ]


def test_command_writes_a_taper_and_a_rigs_lines(tmp_path: Path) -> None:
    """What it says goes into a rig file as it is."""
    random = np.random.default_rng(0)
    fraction = law("bent", random)
    ohms = np.array([parallel(a * 500e3, (1 - a) * 500e3 + 8e3) for a in fraction])
    out = tmp_path / "taper.csv"
    words = in_process("taper", *options(ohms), "--out", str(out))
    assert "fit no named taper" in words and "Unplug the guitar" in words
    lines = words.split("For the rig file:")[1].split("Unplug")[0]
    rig = tmp_path / "r.toml"
    rig.write_text(lines.replace("[volume]", 'inductance = "4 H"\n[volume]'))
    read = read_rig(rig)
    assert read.first.volume.resistance_ohms == pytest.approx(500e3, rel=0.01)
    assert read.first.pickup.resistance_ohms == pytest.approx(8e3, rel=0.01)
    got = fraction_below_wiper(read.first.volume.taper, DIALS)
    assert np.abs(got - fraction).max() < 0.005
    result = json.loads(in_process("taper", *options(ohms), "--json"))
    assert result["law"] is None and result["off_law"] > 1


def test_command_on_a_dual_pot() -> None:
    fraction = fraction_below_wiper(Taper("audio", 0.15), DIALS)
    other = fraction_below_wiper(Taper("audio", 0.24), DIALS)
    words = in_process(
        "taper", "--lugs", *options(fraction * 500e3), *options(other * 480e3, "--second")
    )
    assert "fit an audio track with 0.15 at half" in words
    assert "more than is usual" in words
    assert 'taper = "audio"\nmidpoint = 0.15' in words


@pytest.mark.slow
def test_nonsense(tmp_path: Path) -> None:
    good = options(fraction_below_wiper(Taper("audio"), DIALS) * 500e3)
    for arguments, says in (
        (["--ohms", "ten"], "--ohms 'ten' must be DIAL=OHMS"),
        (["--ohms", "5=lots"], "--ohms 5=lots"),
        (["--ohms", "5=1k", "--ohms", "5=2k"], "dial 5 is given twice"),
        (["--ohms", "11=1k"], "must lie between 0 and 10"),
        (["--ohms", "10=8k"], "at least 5 readings"),
        ([*good[:-2], "--lugs"], "a reading at 10"),
        ([*good, "--second", "10=1k"], "--second needs --lugs"),
        ([*good, "--meter", "50"], "--meter 50"),
        ([*good, "--out", str(tmp_path / "a.txt"), "--lugs"], "must end in .csv"),
        ([*good, "--fitted", "gang(500k) + 1n"], "hides the track"),
        # A figure too many in some of them.
        ([w.replace("=", "=3") if "=" in w and i % 3 else w for i, w in enumerate(good)],
         "not readings of one pot"),
    ):  # fmt: skip
        done = presolder_here("taper", *arguments)
        assert done.returncode == 2, arguments
        assert says in done.stderr, (says, done.stderr)
        assert len(done.stderr.splitlines()) == 1
    with pytest.raises(InputError, match="must not fall"):
        track_at_lugs(DIALS, np.linspace(500e3, 50e3, 10))
