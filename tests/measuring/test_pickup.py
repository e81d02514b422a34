"""A pickup's values from simulated measurements, with and without noise."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import chirp

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, Pot
from presolder.models.measuring.coil import (
    Response,
    coil_from_readings,
    coil_from_responses,
    coil_response,
    peak_hz,
)
from presolder.models.measuring.sine_sweep import swept_response
from rigs import single
from running import in_process

METER = Load(1e6, 40e-12)
ADDED = 470e-12
COIL = Pickup(8200, 4.2, 120e-12, 900e3)
HZ = np.geomspace(100, 16_000, 80)


def highest(pickup: Pickup, meter: Load, added: float) -> float:
    """Frequency of the highest output, looked for on a fine grid."""
    hz = np.geomspace(500, 40_000, 400_001)
    return float(hz[np.argmax(np.abs(coil_response(pickup, hz, meter, added)))])


def random_coils(count: int) -> list[tuple[Pickup, Load]]:
    random = np.random.default_rng(8)
    return [
        (
            Pickup(
                random.uniform(4e3, 15e3), random.uniform(1.5, 8), random.uniform(60e-12, 250e-12)
            ),
            Load(random.uniform(3e5, 1e7), random.uniform(0, 40e-12)),
        )
        for _ in range(count)
    ]


def test_coil_is_the_chain_without_its_controls() -> None:
    """Behind a pot too large to load it, at dial 10."""
    rig = single(COIL, Pot(1e10), load=METER)
    whole = transfer(chain_equations(rig, None), HZ, 10.0)[0]
    with_pot = Load(1 / (1 / METER.resistance_ohms + 1e-10), METER.capacitance_farads)
    assert np.abs(decibels(coil_response(COIL, HZ, with_pot) / whole)).max() < 1e-8


def test_closed_form_without_losses() -> None:
    """L = (1/w1^2 - 1/w0^2) / C_added and C = 1/(w0^2 L), from f = 1/(2 pi sqrt(LC))."""
    henries, farads = 3.3, 150e-12
    readings = [1 / (2 * np.pi * np.sqrt(henries * (farads + added))) for added in (0.0, 330e-12)]
    coil = coil_from_readings(1e-2, *readings, 330e-12, Load())
    assert coil.pickup.inductance_henries == pytest.approx(henries, rel=1e-6)
    assert coil.pickup.capacitance_farads == pytest.approx(farads, rel=1e-6)


def test_readings_without_noise() -> None:
    for pickup, meter in random_coils(25):
        bare, loaded = highest(pickup, meter, 0.0), highest(pickup, meter, ADDED)
        assert peak_hz(pickup, meter) == pytest.approx(bare, rel=1e-4)
        found = coil_from_readings(pickup.resistance_ohms, bare, loaded, ADDED, meter).pickup
        assert found.inductance_henries == pytest.approx(pickup.inductance_henries, rel=0.01)
        assert found.capacitance_farads == pytest.approx(pickup.capacitance_farads, rel=0.01)


def test_readings_with_noise() -> None:
    """Each reading off by 0.2 % (10 Hz in 5 kHz)."""
    random = np.random.default_rng(9)
    for pickup, meter in random_coils(25):
        bare, loaded = (
            highest(pickup, meter, added) * (1 + random.normal(0, 0.002)) for added in (0.0, ADDED)
        )
        coil = coil_from_readings(pickup.resistance_ohms, bare, loaded, ADDED, meter)
        assert coil.pickup.inductance_henries == pytest.approx(pickup.inductance_henries, rel=0.05)
        assert coil.pickup.capacitance_farads == pytest.approx(pickup.capacitance_farads, rel=0.05)
        assert 0.005 < coil.inductance_error < 0.08


@pytest.mark.parametrize(("noise_db", "bound"), [(0.0, 0.01), (0.5, 0.05)])
def test_responses_with_and_without_noise(noise_db: float, bound: float) -> None:
    for seed in range(10):
        random = np.random.default_rng(seed)
        eddy = float(random.uniform(3e5, 2e6))
        truth = Pickup(
            random.uniform(4e3, 15e3), random.uniform(1.5, 8), random.uniform(60e-12, 250e-12), eddy
        )
        responses = tuple(
            Response(
                HZ,
                decibels(coil_response(truth, HZ, METER, added)) - 31.0
                + random.normal(0, noise_db, HZ.size),
                added,
            )
            for added in (0.0, ADDED)
        )  # fmt: skip
        coil = coil_from_responses(truth.resistance_ohms, responses, METER)
        assert coil.pickup.inductance_henries == pytest.approx(truth.inductance_henries, rel=bound)
        assert coil.pickup.capacitance_farads == pytest.approx(truth.capacitance_farads, rel=bound)
        assert coil.misfit_db == pytest.approx(noise_db, rel=0.2, abs=1e-6)


def sweep(rate: int = 48_000, seconds: float = 3.0) -> np.ndarray:
    time = np.arange(int(rate * seconds)) / rate
    fade = np.minimum(1, np.minimum(time, seconds - time) / 0.05)
    return np.asarray(0.5 * fade * chirp(time, 40, seconds, 20_000, "logarithmic"))


def excited(played: np.ndarray, added: float, snr_db: float, rate: int = 48_000) -> np.ndarray:
    """The sweep through an exciter coil and the pickup, late and with noise."""
    count = 1 << 18
    hz = np.maximum(np.fft.rfftfreq(count, 1 / rate), 1e-3)
    chain = coil_response(COIL, hz, METER, added) * 1j * hz / 5000
    heard = np.fft.irfft(np.fft.rfft(played, count) * chain, count)[: played.size + rate]
    late = np.concatenate([np.zeros(1234), heard])
    level = np.sqrt(np.mean(np.square(late[: played.size])))
    noise = np.random.default_rng(5).normal(0, level * 10 ** (-snr_db / 20), late.size)
    return np.asarray(0.4 * (late + noise))


def test_recorded_sweeps_through_the_command(tmp_path: Path) -> None:
    played = sweep()
    soundfile.write(tmp_path / "sweep.wav", played, 48_000, subtype="FLOAT")
    options = ["--resistance", "8k2", "--meter-capacitance", "40p"]
    options += ["--played", str(tmp_path / "sweep.wav")]
    for name, added in (("bare", 0.0), ("loaded", ADDED)):
        take = excited(played, added, 40.0)
        soundfile.write(tmp_path / f"{name}.wav", take, 48_000, subtype="FLOAT")
        options += ["--recorded", f"{tmp_path / name}.wav" + ("@470p" if added else "")]
    result = json.loads(in_process("pickup", *options, "--json"))
    assert result["inductance_henries"] == pytest.approx(4.2, rel=0.05)
    assert result["capacitance_farads"] == pytest.approx(120e-12, rel=0.05)
    assert result["misfit_db"] < 1.0
    words = in_process("pickup", *options)
    assert "[pickup]" in words and "misfit" in words and "unplugged from any amplifier" in words


def test_response_files_and_the_advice_to_measure_again(tmp_path: Path) -> None:
    random = np.random.default_rng(3)
    gain = decibels(coil_response(COIL, HZ, METER)) + random.normal(0, 0.4, HZ.size)
    rows = [f"{hz:.3f},{db:.3f}" for hz, db in zip(HZ, gain, strict=True)]
    (tmp_path / "bare.csv").write_text("\n".join(["frequency_hz,gain_db", *rows]))
    words = in_process(
        "pickup", "--resistance", "8k2", "--response", str(tmp_path / "bare.csv"),
        "--exciter", "flat", "--meter-capacitance", "40p",
    )  # fmt: skip
    assert "measure again with a known capacitor" in words


def test_readings_through_the_command() -> None:
    options = ("--resistance", "6k", "--bare-hz", "7150", "--loaded-hz", "3600", "--added", "470p")
    result = json.loads(in_process("pickup", *options, "--meter-resistance", "inf", "--json"))
    found = Pickup(6000, result["inductance_henries"], result["capacitance_farads"])
    assert peak_hz(found, Load()) == pytest.approx(7150, rel=1e-6)
    assert peak_hz(found, Load(), 470e-12) == pytest.approx(3600, rel=1e-6)
    assert 'inductance = "' in in_process("pickup", *options)


def test_a_recording_of_something_else() -> None:
    noise = np.random.default_rng(1).normal(0, 0.1, 200_000)
    with pytest.raises(InputError, match="does not hold the sweep"):
        swept_response(sweep(), noise, 48_000)


READINGS = ("--bare-hz", "7000", "--loaded-hz", "3500")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((), "give one of: --bare-hz"),
        (READINGS, "--added is missing"),
        ((*READINGS, "--added", "lots"), "--added lots"),
        (("--bare-hz", "3000", "--loaded-hz", "3500", "--added", "470p"), "lowers the resonance"),
        (("--bare-hz", "3505", "--loaded-hz", "3500", "--added", "470p"), "no coil of 8 kΩ peaks"),
        (("--response", "none.csv"), "none.csv: no such file"),
        (("--recorded", "none.wav"), "--recorded needs --played"),
        ((*READINGS, "--added", "470p", "--meter-resistance", "-5"), "--meter-resistance -5"),
    ],
)
def test_nonsense(options: tuple[str, ...], says: str) -> None:
    with pytest.raises(InputError) as caught:
        in_process("pickup", "--resistance", "8k", *options)
    assert says in str(caught.value)
