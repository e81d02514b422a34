"""Simulated guitars with and without a fault, recorded by a player who wobbles."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.third_octaves import BAND_HZ, band_gain_db, spectrum
from presolder.models.measuring.verify import Findings, changed, chi2_of, suspects, verify
from presolder.render.files.rigs import built_in_rigs, find_rig
from running import in_process
from takes import SAMPLES

DIALS = (10.0, 8.0, 6.0, 4.0, 2.0)
# Faults that a technician meets: a part read wrongly, another cable, a pot of another taper.
FACTORS = {"cable": (2.0, 0.4), "midpoint": (0.5, 2.0), "capacitor": (2.5, 0.4)}


@cache
def phrase() -> tuple[np.ndarray, int]:
    audio, rate = soundfile.read(SAMPLES / "phrase.flac")
    # A length that transforms fast.
    return audio[: 1 << 17], rate


def recorded(
    rig: Rig, network: Network | None, dial: float, random: np.random.Generator
) -> np.ndarray:
    """The phrase played again through the chain: level and bands wobble."""
    audio, rate = phrase()
    hz = np.fft.rfftfreq(audio.size, 1 / rate)
    grid = np.geomspace(80, 9000, 200)
    chain = decibels(transfer(chain_equations(rig, network), grid, dial)[0])
    band = (hz > 80) & (hz < 9000)
    wobble = np.interp(np.log(hz[band]), np.log(BAND_HZ), random.normal(0, 0.7, BAND_HZ.size))
    gain_db = np.interp(np.log(hz[band]), np.log(grid), chain) + wobble + random.normal(0, 1.0)
    filtered = np.zeros(hz.size, dtype=complex)
    filtered[band] = np.fft.rfft(audio)[band] * 10 ** (gain_db / 20)
    return np.asarray(np.fft.irfft(filtered, audio.size))


def with_fault(
    rig: Rig, network: Network | None, kind: str, factor: float
) -> tuple[Rig, Network | None]:
    if kind == "none":
        return rig, network
    cause = next(cause for cause, _, _ in suspects(rig, network) if cause.kind == kind)
    return changed(rig, network, replace(cause, value=cause.nominal * factor))


def checked(
    rig_name: str, text: str, kind: str, factor: float, seed: int, dials: tuple[float, ...] = DIALS
) -> Findings:
    rig, network = find_rig(rig_name).as_recorded, parse_expression(text) if text else None
    rate = phrase()[1]
    random = np.random.default_rng(seed)
    guitar = with_fault(rig, network, kind, factor)
    spectra = [spectrum(recorded(*guitar, dial, random), rate) for dial in dials]
    return verify(rig, network, np.array(dials), spectra)


@pytest.mark.parametrize("kind", list(FACTORS))
def test_names_the_culprit(kind: str) -> None:
    """In at least 9 of 10 faults of each parameter, over rigs, designs and directions."""
    cases = [
        (rig_name, text, factor, seed)
        for rig_name, text in (("humbucker-500k", "150p"), ("single-coil-250k", "150p || 820k"))
        for factor in FACTORS[kind]
        for seed in (1, 2, 3, 4, 5)
    ]
    named, close = 0, 0
    for rig_name, text, factor, seed in cases:
        findings = checked(rig_name, text, kind, factor, seed)
        best = findings.causes[0]
        named += findings.verdict == "explained" and best.kind == kind
        close += abs(np.log(best.value / best.nominal / factor)) < np.log(1.3)
    assert named >= 0.9 * len(cases)
    assert close >= 0.9 * len(cases)


def test_a_good_job_fits() -> None:
    for seed in range(10):
        findings = checked("humbucker-500k", "270k + 390p", "none", 1.0, seed)
        assert findings.verdict == "fits"
        assert findings.ask_dial is None or findings.unseen


def test_usual_spread_of_parts_is_no_fault() -> None:
    for kind, factor in (("cable", 1.15), ("capacitor", 0.92), ("midpoint", 1.2)):
        assert checked("humbucker-500k", "150p", kind, factor, 3).verdict == "fits"


@pytest.mark.parametrize(
    ("text", "kind", "factor", "dials"),
    [
        ("150p", "cable", 0.4, (10.0, 9.0)),
        ("820k || 220p", "capacitor", 0.4, (10.0, 7.0)),
    ],
)
def test_two_causes_alike_and_the_take_that_tells(
    text: str, kind: str, factor: float, dials: tuple[float, ...]
) -> None:
    """With too few takes it does not guess, and the take that it asks for settles the matter."""
    undecided = 0
    for seed in range(6):
        findings = checked("humbucker-500k", text, kind, factor, seed, dials)
        if findings.verdict != "undecided":
            continue
        undecided += 1
        assert findings.rivals >= 2
        assert kind in {cause.kind for cause in findings.causes[: findings.rivals]}
        assert findings.ask_dial is not None
        more = checked("humbucker-500k", text, kind, factor, seed, (*dials, findings.ask_dial))
        assert (more.verdict, more.causes[0].kind) == ("explained", kind)
    assert undecided >= 4


def test_says_what_the_takes_cannot_show() -> None:
    """Dials 10 and 9 say next to nothing about a taper."""
    findings = checked("humbucker-500k", "150p", "none", 1.0, 2, (10.0, 9.0))
    assert findings.verdict == "fits"
    assert "taper midpoint" in findings.unseen
    assert findings.ask_dial is not None and findings.ask_dial < 9


def test_a_wrong_design_is_not_blamed_on_one_part() -> None:
    """A resistor of 100k across the pot, that nobody described."""
    rig = find_rig("humbucker-500k").as_recorded
    random = np.random.default_rng(1)
    other = parse_expression("47k || 10n")
    spectra = [spectrum(recorded(rig, other, dial, random), phrase()[1]) for dial in DIALS]
    findings = verify(rig, parse_expression("150p"), np.array(DIALS), spectra)
    assert findings.verdict == "unexplained"


def test_band_gain_of_noise_is_the_mean_square_response() -> None:
    """White noise through a slope of 6 dB an octave, against the integral worked out by hand.

    Over a band from f/e to f e the mean of (f/f0)^2 is (e^3 - e^-3) / (3 (e - 1/e)) (f/f0)^2.
    """
    noise = np.random.default_rng(7).normal(size=48_000 * 8)
    hz = np.geomspace(120, 8000, 400)
    gain = band_gain_db(spectrum(noise, 48_000), hz, 20 * np.log10(hz / 1000)[None])[0]
    edge = 10 ** (1 / 20)
    factor = (edge**3 - edge**-3) / (3 * (edge - 1 / edge))
    expected = 20 * np.log10(BAND_HZ / 1000) + 10 * np.log10(factor)
    assert gain == pytest.approx(expected, abs=0.15)


def test_misfit_counts_as_chi_squared_does() -> None:
    """Wobble of the assumed size gives a mean of (takes - 1) x bands."""
    random = np.random.default_rng(11)
    takes, bands = 4, 17
    values = [
        chi2_of(random.normal(0, 0.7, (takes, bands)) + random.normal(0, 1.0, (takes, 1)))
        for _ in range(2000)
    ]
    freedom = (takes - 1) * bands
    assert np.mean(values) == pytest.approx(freedom, rel=0.02)
    assert np.var(values) == pytest.approx(2 * freedom, rel=0.1)


@pytest.mark.parametrize("rig_name", list(built_in_rigs()))
def test_command_on_every_rig(rig_name: str, tmp_path: Path) -> None:
    rig, network = find_rig(rig_name).as_recorded, parse_expression("150p")
    random = np.random.default_rng(6)
    options = []
    for dial in (10.0, 6.0, 3.0):
        path = tmp_path / f"{dial:g}.wav"
        audio = 0.05 * recorded(rig, network, dial, random)
        soundfile.write(path, audio, phrase()[1], subtype="FLOAT")
        options += ["--take", f"{dial:g}={path}"]
    common = ("--rig", rig_name, "--design", "150p", *options)
    result = json.loads(in_process("verify", *common, "--json"))
    assert result["verdict"] == "fits"
    assert [take["dial"] for take in result["takes"]] == [10.0, 6.0, 3.0]
    low = result["takes"][2]
    assert low["level_db"]["measured"] == pytest.approx(low["level_db"]["predicted"], abs=3.0)
    words = in_process("verify", *common)
    assert words.startswith("It fits")
    assert len(words.splitlines()) >= 6


def test_words_for_a_fault(tmp_path: Path) -> None:
    rig = find_rig("humbucker-500k").as_recorded
    guitar = with_fault(rig, parse_expression("150p"), "capacitor", 2.5)
    random = np.random.default_rng(4)
    options = []
    for dial in (10.0, 7.0, 4.0):
        path = tmp_path / f"{dial:g}.wav"
        audio = 0.05 * recorded(*guitar, dial, random)
        soundfile.write(path, audio, phrase()[1], subtype="FLOAT")
        options += ["--take", f"{dial:g}={path}"]
    words = in_process("verify", "--design", "150p", *options)
    assert words.startswith("It does not fit. capacitor 3") or words.startswith(
        "It does not fit. capacitor 4"
    )
    assert "instead of 150 pF explains it, and nothing else does." in words


def test_nonsense(tmp_path: Path) -> None:
    audio, rate = phrase()
    soundfile.write(tmp_path / "a.wav", audio, rate)
    soundfile.write(tmp_path / "short.wav", audio[: rate // 2], rate)
    soundfile.write(tmp_path / "silent.wav", np.zeros(rate * 2), rate)
    soundfile.write(tmp_path / "rate.wav", audio, 44_100)
    a = f"10={tmp_path / 'a.wav'}"
    for takes, says in (
        (("ten.wav",), "--take 'ten.wav' must be DIAL=FILE"),
        (("12=x.wav",), "--take dial = 12 must lie between 0 and 10"),
        (("0=x.wav",), "dial 0 is silent"),
        ((a, a), "dial 10 is given twice"),
        ((a,), "--take: one take tells nothing"),
        ((a, "5=none.wav"), "none.wav"),
        ((a, f"5={tmp_path / 'short.wav'}"), "at least 1 s is needed"),
        ((a, f"5={tmp_path / 'silent.wav'}"), "holds only silence"),
        ((a, f"5={tmp_path / 'rate.wav'}"), "all takes must have one sample rate"),
    ):
        options = [word for take in takes for word in ("--take", take)]
        with pytest.raises(InputError) as caught:
            in_process("verify", *options)
        assert says in str(caught.value)
