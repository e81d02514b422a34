"""A pickup's values from simulated measurements, with and without noise."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile
from bench import response
from scipy.signal import chirp
from tiers import some

import presolder as ps
from coils import ADDED, HZ, METER, hung, measured, random_form
from netlist import Part, at_dial, parts_of, spice_response
from presolder.models.circuit.coil import coil_impedance, coil_response, peak_hz
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, Pot
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.coil import Impedance, Response, coil_from_readings
from presolder.models.measuring.coil_fit import (
    FITS,
    _strayed,
    coil_from_impedance,
    coil_from_responses,
    rig_from_responses,
)
from presolder.models.measuring.fitting import fitted, half_width
from presolder.models.measuring.sine_sweep import swept_response
from presolder.render.files.rig_file import find_rig
from rigs import single
from running import in_process

COIL = Pickup(8200, 4.2, 120e-12, 900e3, 0.8)


def highest(pickup: Pickup, meter: Load, added: float, rising: bool) -> float:
    """Frequency of the highest output, looked for on a fine grid."""
    hz = np.geomspace(500, 40_000, 400_001)
    gain = np.abs(coil_response(pickup, hz, hung(meter, added)))
    return float(hz[np.argmax(gain * hz if rising else gain)])


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
    with_pot = hung(METER, 0.0, 1e10)
    assert np.abs(decibels(coil_response(COIL, HZ, with_pot) / whole)).max() < 1e-8


def test_closed_form_without_losses() -> None:
    """L = (1/w1^2 - 1/w0^2) / C_added and C = 1/(w0^2 L), from f = 1/(2 pi sqrt(LC))."""
    henries, farads = 3.3, 150e-12
    readings = [1 / (2 * np.pi * np.sqrt(henries * (farads + added))) for added in (0.0, 330e-12)]
    for rising in (True, False):
        coil = coil_from_readings(1e-2, *readings, 330e-12, Load(), rising=rising)
        assert coil.pickup.inductance_henries == pytest.approx(henries, rel=1e-6)
        assert coil.pickup.capacitance_farads == pytest.approx(farads, rel=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("rising", [True, False])
def test_readings_without_noise(rising: bool) -> None:
    for pickup, meter in random_coils(25):
        bare, loaded = (highest(pickup, meter, added, rising) for added in (0.0, ADDED))
        assert peak_hz(pickup, meter, rising=rising) == pytest.approx(bare, rel=1e-4)
        coil = coil_from_readings(pickup.resistance_ohms, bare, loaded, ADDED, meter, rising=rising)
        henries, farads = pickup.inductance_henries, pickup.capacitance_farads
        assert coil.pickup.inductance_henries == pytest.approx(henries, rel=1e-3)
        assert coil.pickup.capacitance_farads == pytest.approx(farads, rel=1e-3)


def test_readings_honour_the_exciter() -> None:
    """Readings of a rising EMF, taken for those of a flat one, are percents off."""
    options = ("--resistance", "12k", "--added", "470p", "--meter-resistance", "500k", "--json")
    pickup, meter = Pickup(12e3, 6.0, 110e-12), Load(500e3)
    bare, loaded = (highest(pickup, meter, added, True) for added in (0.0, ADDED))
    read = ("--bare-hz", str(bare), "--loaded-hz", str(loaded))
    right = json.loads(in_process("pickup", *options, *read))
    wrong = json.loads(in_process("pickup", *options, *read, "--exciter", "flat"))
    assert right["inductance_henries"] == pytest.approx(6.0, rel=1e-3)
    assert right["capacitance_farads"] == pytest.approx(110e-12, rel=2e-3)
    assert abs(wrong["inductance_henries"] / 6.0 - 1) > 0.005


@pytest.mark.slow
def test_readings_with_noise() -> None:
    """Each reading off by 0.2 % (10 Hz in 5 kHz)."""
    random = np.random.default_rng(9)
    for pickup, meter in random_coils(25):
        bare, loaded = (
            highest(pickup, meter, added, True) * (1 + random.normal(0, 0.002))
            for added in (0.0, ADDED)
        )
        coil = coil_from_readings(pickup.resistance_ohms, bare, loaded, ADDED, meter)
        assert coil.pickup.inductance_henries == pytest.approx(pickup.inductance_henries, rel=0.05)
        assert coil.pickup.capacitance_farads == pytest.approx(pickup.capacitance_farads, rel=0.05)
        # Coils without losses: real ones are further off (test_pickup_errors.py), and that is said.
        assert min(coil.inductance_error, coil.capacitance_error) > 0.05


@pytest.mark.parametrize("form", [0, 1, 2])
def test_any_exciter_drops_out(form: int) -> None:
    """Without noise the values come back, in the form that made them."""
    random = np.random.default_rng(form)
    truth = random_form(random, form)
    found = coil_from_responses(truth.resistance_ohms, measured(truth, random, 1e-3, 0.0), METER)
    assert found.pickup.inductance_henries == pytest.approx(truth.inductance_henries, rel=0.01)
    assert found.pickup.capacitance_farads == pytest.approx(truth.capacitance_farads, rel=0.01)
    assert (found.pickup.eddy_ohms is None) == (form == 0)
    assert (found.pickup.leakage_henries > 0) == (form == 2)
    assert found.misfit_db < 0.01


@pytest.mark.parametrize("alike", [0.0, 0.5])
def test_points_that_go_together_count_as_fewer(alike: float) -> None:
    """What each takes over from the one before makes (1 + a) / (1 - a) of them one.

    The variance of an autoregressive series' mean (Priestley, Spectral Analysis and
    Time Series, 1981, section 5.3; from memory).
    """
    noise = np.random.default_rng(4).normal(0, 0.3, 20_000)
    noise = scipy.signal.lfilter([1.0], [1.0, -alike], noise)
    nothing = np.array([0.0]), np.array([np.inf])
    fit = fitted(lambda x: noise - x, [np.zeros(1)], np.array([[-1.0, 1.0]]), *nothing)
    # Short of what lies below the correlation that is looked at.
    assert fit.together == pytest.approx((1 + alike) / (1 - alike), rel=0.2)


def test_misfit_of_one_response_is_its_noise() -> None:
    random = np.random.default_rng(5)
    gain_db = decibels(coil_response(COIL, HZ, METER)) + random.normal(0, 0.3, HZ.size)
    found = coil_from_responses(COIL.resistance_ohms, (Response(HZ, gain_db, 0.0),), METER)
    # Of 80 points with five values fitted, within two standard errors.
    assert found.misfit_db == pytest.approx(0.3, rel=0.17)


def ladder(random: np.random.Generator) -> tuple[list[Part], float]:
    """A winding whose eddy currents are spread over seven sections of L and R.

    Inductances and corner frequencies of sections go as for the diffusion of
    flux into a sheet, as odd squares (textbook eddy-current theory; from
    memory); a part of the flux meets no metal.
    """
    ohms, henries, corner_hz = (
        random.uniform(5e3, 14e3), random.uniform(2, 7), random.uniform(1e3, 8e3),
    )  # fmt: skip
    free = random.uniform(0.2, 0.6) * henries
    parts = [Part("R", "emf", "s0", repr(ohms)), Part("L", "s0", "s1", repr(free))]
    odd = np.arange(1, 15, 2)
    shares = (1 / odd**2) / (1 / odd**2).sum() * (henries - free)
    for i, (share, square) in enumerate(zip(shares, odd**2, strict=True), start=1):
        here, there = f"s{i}", "lug" if i == odd.size else f"s{i + 1}"
        parts.append(Part("L", here, there, repr(float(share))))
        parts.append(Part("R", here, there, repr(float(2 * np.pi * corner_hz * square * share))))
    parts.append(Part("C", "lug", "0", repr(random.uniform(80e-12, 200e-12))))
    return parts, ohms


@pytest.mark.slow
@pytest.mark.parametrize("seed", some(range(6), lambda seed: seed == 1))
def test_coils_with_real_eddy_currents_in_a_rig(seed: int) -> None:
    """Measured and built in ngspice: the rig's response at 10 within half a decibel to 6 kHz."""
    winding, ohms = ladder(np.random.default_rng(seed))
    wire = Part("R", "lug", "out", "1e-3")
    responses = []
    for added, across in ((0.0, np.inf), (ADDED, 200e3)):
        bench = [*winding, wire, Part("C", "out", "0", repr(METER.capacitance_farads + added))]
        bench.append(Part("R", "out", "0", repr(hung(METER, 0.0, across).resistance_ohms)))
        hz, gain = spice_response(bench, 24)
        responses.append(Response(hz, decibels(gain), added, across))
    coil = coil_from_responses(ohms, tuple(responses), METER)
    rig = find_rig("humbucker-500k").as_recorded
    rig = rig.with_first(replace(rig.first, pickup=coil.pickup))
    own = ("coil", "core", "emf")
    rest = [p for p in parts_of(rig, None, at_dial(10)) if not (p.plus in own or p.minus in own)]
    rest.remove(Part("C", "lug", "0", repr(coil.pickup.capacitance_farads)))
    hz, gain = spice_response([*winding, *rest])
    seen = (hz >= 80) & (hz <= 6000)
    off = decibels(transfer(chain_equations(rig, None), hz[seen], 10.0)[0]) - decibels(gain[seen])
    assert np.abs(off).max() < 0.5


@pytest.mark.slow
def test_impedance(tmp_path: Path) -> None:
    """Magnitude and phase with half a percent of noise, through the command."""
    truth = Pickup(8200, 4.2, 120e-12, 90e3, 1.9)
    random = np.random.default_rng(2)
    ohms = 1 / (1 / coil_impedance(truth, HZ) + 2j * np.pi * HZ * truth.capacitance_farads)
    noisy = ohms * np.exp(random.normal(0, 0.005, HZ.size) + 1j * random.normal(0, 0.005, HZ.size))
    rows = np.array([HZ, np.abs(noisy), np.degrees(np.angle(noisy))]).T
    coil = coil_from_impedance(8200, Impedance(*rows.T), Load())
    np.savetxt(
        tmp_path / "z.csv", rows, delimiter=",", header="frequency_hz,ohms,degrees", comments=""
    )
    found = json.loads(
        in_process(
            "pickup", "--resistance", "8k2", "--impedance", str(tmp_path / "z.csv"), "--json"
        )
    )
    assert found["inductance_henries"] == pytest.approx(coil.pickup.inductance_henries, rel=1e-6)
    for key, true in (("inductance", 4.2), ("capacitance", 120e-12)):
        value = found[f"{key}_henries" if key == "inductance" else f"{key}_farads"]
        assert abs(np.log(value / true)) <= np.log1p(found[f"{key}_error"])
        assert found[f"{key}_error"] < 0.1
    assert found["leakage_henries"] == pytest.approx(1.9, rel=0.1)


@pytest.mark.thorough
@pytest.mark.parametrize("cables", [1, 2])
def test_whole_rig_from_sweeps_at_the_jack(cables: int) -> None:
    """Pots 8 % off, cable 12 %: solved by node voltages; the response at 10 and 6 is foretold."""
    described = find_rig("humbucker-500k").as_recorded
    first = described.first
    coil = Pickup(first.pickup.resistance_ohms, 3.1, 150e-12, 300e3, 0.9)
    pot = replace(first.volume, resistance_ohms=first.volume.resistance_ohms * 1.08)
    real = replace(
        described.with_first(replace(first, pickup=coil, volume=pot)),
        cable_farads=described.cable_farads * 0.88,
    )
    random = np.random.default_rng(3)
    exciter = -10 * np.log10(1 + (HZ / 2500) ** 2) if cables == 2 else 0.0
    responses = []
    for added, dial in ((0.0, 10.0), (350e-12, 10.0), (0.0, 5.0))[: 1 if cables == 1 else 3]:
        longer = replace(real, cable_farads=real.cable_farads + added)
        gain = decibels(response(parts_of(longer, None, at_dial(dial)), HZ)) + exciter
        noisy = gain + random.normal(0, 0.1, HZ.size)
        responses.append(Response(HZ, noisy, added, dial=dial))
    told: list[int] = []
    found = rig_from_responses(described, tuple(responses), told.append).rig
    # In steps of at most a third, to the very end.
    assert sum(told) == FITS and 3 * max(told) <= FITS and len(told) >= 11
    seen = HZ[HZ <= 6000]
    # With one response at 10, cable and winding are told apart by what is usual alone.
    for dial, bound in ((10.0, 0.3), (6.0, 0.3 if cables == 2 else 4.0)):
        true = decibels(response(parts_of(real, None, at_dial(dial)), seen))
        off = decibels(transfer(chain_equations(found, None), seen, dial)[0]) - true
        assert np.abs(off - off[0]).max() < bound
        was = decibels(transfer(chain_equations(described, None), seen, dial)[0]) - true
        assert np.abs(was - was[0]).max() > (1.0 if dial == 10 else 0.0)


def sweep(
    rate: int = 48_000, seconds: float = 3.0, first_hz: float = 40.0, last_hz: float = 20_000.0
) -> np.ndarray:
    time = np.arange(int(rate * seconds)) / rate
    fade = np.minimum(1, np.minimum(time, seconds - time) / 0.05)
    return np.asarray(0.5 * fade * chirp(time, first_hz, seconds, last_hz, "logarithmic"))


def excited(played: np.ndarray, added: float, snr_db: float, rate: int = 48_000) -> np.ndarray:
    """The sweep through an exciter coil and the pickup, late and with noise."""
    count = 1 << 18
    hz = np.maximum(np.fft.rfftfreq(count, 1 / rate), 1e-3)
    chain = coil_response(COIL, hz, hung(METER, added)) * 1j * hz / 5000
    heard = np.fft.irfft(np.fft.rfft(played, count) * chain, count)[: played.size + rate]
    late = np.concatenate([np.zeros(1234), heard])
    level = np.sqrt(np.mean(np.square(late[: played.size])))
    noise = np.random.default_rng(5).normal(0, level * 10 ** (-snr_db / 20), late.size)
    return np.asarray(0.4 * (late + noise))


@pytest.mark.slow
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
    assert peak_hz(found, Load(), rising=True) == pytest.approx(7150, rel=1e-6)
    assert peak_hz(found, Load(np.inf, 470e-12), rising=True) == pytest.approx(3600, rel=1e-6)
    assert 'inductance = "' in in_process("pickup", *options)


def test_a_recording_of_something_else() -> None:
    noise = np.random.default_rng(1).normal(0, 0.1, 200_000)
    with pytest.raises(InputError, match="does not hold the sweep"):
        swept_response(sweep(), noise, 48_000)


@pytest.mark.parametrize(
    ("samples", "at_hz"),
    [(-1024, 110), (1024, 8000), (-128, 1000), (128, 160), (32, 3000)],
)
def test_a_recording_of_which_samples_are_lost(samples: int, at_hz: float) -> None:
    """Lost or put in while it ran, from its low end on: by how much is said."""
    played = sweep()
    at = int(played.size * np.log(at_hz / 40) / np.log(20_000 / 40))
    torn = np.insert(played, at, np.zeros(max(samples, 0)))
    torn = np.delete(torn, slice(at, at - min(samples, 0)))
    late_ms = abs(samples) / 48
    with pytest.raises(InputError, match="torn, by") as told:
        swept_response(played, torn, 48_000)
    said = float(str(told.value).partition("by ")[2].partition(" ms")[0])
    # What is lost of two periods blurs their octaves.
    assert said == pytest.approx(late_ms, abs=0.2, rel=0.08)


@pytest.mark.slow
@pytest.mark.parametrize("ppm", [150, 400])
def test_player_and_recorder_may_have_a_clock_each(ppm: int) -> None:
    """By 1.5 ms in ten seconds, as a phone's and an interface's do, or more; resampled by scipy.
    One of which samples are lost besides is torn, and so is one that buffers put right."""
    played = np.append(sweep(seconds=10), np.zeros(4000))
    recorded = scipy.signal.resample(played, round(played.size * (1 + 1e-6 * ppm)))
    hz, gain_db = swept_response(played, recorded, 48_000)
    # Measured 0.00006 dB; 0.1 with its impulse response left as blurred as it is.
    assert gain_db == pytest.approx(np.zeros(hz.size), abs=1.2e-4)
    buffers = np.insert(played, np.repeat(np.arange(2, 10, 2) * 48_000, 48), 0.0)
    for torn in (np.delete(recorded, slice(300_000, 300_048)), buffers):
        with pytest.raises(InputError, match="torn, by"):
            swept_response(played, torn, 48_000)


@pytest.mark.parametrize(
    ("first_hz", "last_hz"), [(300.0, 5000.0), (100.0, 16_000.0), (30.0, 22_000.0)]
)
def test_a_sweep_tells_what_it_reaches(first_hz: float, last_hz: float) -> None:
    """And that alone, of a resonance at 3 kHz whose EMF rises: scipy's response of the filter."""
    turns = 2 * np.pi * 3000
    pole = scipy.signal.bilinear([1], [1 / turns**2, 0.3 / turns, 1], 48_000)
    rise = scipy.signal.butter(1, 6000, "high", fs=48_000)
    played = sweep(first_hz=first_hz, last_hz=last_hz)
    heard = scipy.signal.lfilter(*rise, scipy.signal.lfilter(*pole, played))
    hz, gain_db = swept_response(played, heard, 48_000)
    assert 0.8 * first_hz < hz[0] <= max(100.1, 1.05 * first_hz)
    assert 0.9 * min(last_hz, 16_000.0) < hz[-1] < 1.1 * last_hz
    whole = [scipy.signal.freqz(*part, hz, fs=48_000)[1] for part in (pole, rise)]
    # Measured 0.001 and 0.003 dB; 0.09 and 0.005 of a response that is not held to the sweep's own.
    assert gain_db == pytest.approx(decibels(np.abs(whole[0] * whole[1])), abs=0.006)


def test_what_comes_before_the_response_is_faded_out() -> None:
    """As distortion of a short sweep would, 23.9 of the 24 ms that are kept earlier.

    Of an echo of a third that would ripple the response by 20 lg(4/3 / (2/3)) = 6 dB.
    """
    played, early = sweep(), 1147
    recorded = np.concatenate([np.zeros(early), played])
    recorded[: played.size] += played / 3
    _, gain_db = swept_response(played, recorded, 48_000)
    ripple_db = float(np.ptp(gain_db))
    # Measured 0.03 dB.
    assert ripple_db < 0.06


def test_a_rising_emf_is_taken_off(tmp_path: Path) -> None:
    """Faraday: a small coil's field induces in proportion to frequency, 20 dB a decade."""
    file = tmp_path / "sweep.wav"
    soundfile.write(file, sweep(), 48_000, "FLOAT")
    recording = ps.read(file)
    flat = ps.response_from_sweep(recording, recording, 470e-12, 1e6, rising=False)
    taken_off = ps.response_from_sweep(recording, recording, 470e-12, 1e6)
    assert flat.gain_db == pytest.approx(np.zeros(flat.frequency_hz.size), abs=0.05)
    assert (
        np.array_equal(taken_off.frequency_hz, flat.frequency_hz)
        and flat.frequency_hz[-1] > 10 * flat.frequency_hz[0]
    )
    decades = np.log10(flat.frequency_hz / flat.frequency_hz[0])
    fallen_db = taken_off.gain_db - taken_off.gain_db[0]
    assert fallen_db == pytest.approx(-20 * decades, abs=0.1)
    assert (taken_off.added_farads, taken_off.added_ohms) == (470e-12, 1e6)


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


def written(folder: Path, name: str, response_: Response) -> Path:
    path = folder / name
    rows = np.array([response_.frequency_hz, response_.gain_db]).T
    np.savetxt(path, rows, delimiter=",", header="frequency_hz,gain_db", comments="", fmt="%.5f")
    return path


@pytest.mark.slow
def test_loads_through_the_command(tmp_path: Path) -> None:
    """``@200k||470p``, in either order, is what was added."""
    bare, loaded = measured(COIL, np.random.default_rng(1), 0.02, 0.0)
    options = ["--resistance", "8k2", "--meter-capacitance", "40p", "--json"]
    options += ["--response", str(written(tmp_path, "bare.csv", bare))]
    path = written(tmp_path, "loaded.csv", loaded)
    for load in ("200k||470p", "470p || 200k"):
        found = json.loads(in_process("pickup", *options, "--response", f"{path}@{load}"))
        assert found["inductance_henries"] == pytest.approx(4.2, rel=0.02)
        assert found["capacitance_farads"] == pytest.approx(120e-12, rel=0.05)
    with pytest.raises(InputError, match="one capacitor, one resistor or R"):
        in_process("pickup", *options, "--response", f"{path}@200k||470p||1n")


@pytest.mark.thorough
@pytest.mark.slow
def test_at_the_jack_through_the_command(tmp_path: Path) -> None:
    """Two cables and a lower dial; what it says goes into the rig file."""
    described = find_rig("humbucker-500k").as_recorded
    coil = Pickup(described.first.pickup.resistance_ohms, 3.4, 140e-12, 300e3, 0.9)
    real = described.with_first(replace(described.first, pickup=coil))
    options = ["--rig", "humbucker-500k", "--exciter", "flat"]
    for name, added, dial in (("a", 0.0, 10), ("b", 350e-12, 10), ("c", 0.0, 5)):
        hung = replace(real, cable_farads=real.cable_farads + added)
        gain = decibels(response(parts_of(hung, None, at_dial(dial)), HZ))
        path = written(tmp_path, f"{name}.csv", Response(HZ, gain))
        suffix = ("@350p" if added else "") + (f"@dial={dial}" if dial != 10 else "")
        options += ["--response", f"{path}{suffix}"]
    found = json.loads(in_process("pickup", *options, "--json"))
    assert found["inductance_henries"] == pytest.approx(3.4, rel=0.03)
    assert found["capacitance_farads"] == pytest.approx(140e-12, rel=0.15)
    assert found["cable_farads"] == pytest.approx(real.cable_farads, rel=0.05)
    words = in_process("pickup", *options)
    for section in ("[pickup]", "eddy =", "[volume]", "[tone]", "[cable]"):
        assert section in words
    for wrong, says in (
        (["--rig", "humbucker-500k", "--resistance", "8k"], "give one of"),
        ([*options, "--resistance", "8k"], "--resistance is the rig's"),
    ):
        with pytest.raises(InputError, match=says):
            in_process("pickup", *wrong)


def test_a_strayed_rig(humbucker: Rig) -> None:
    """Volume 10 % up, tone pot 20 % down, its capacitor 5 % up, cable 30 % down."""
    tone = humbucker.first.tone
    assert tone is not None
    found = _strayed(humbucker, np.array([0.1, -0.2, 0.05, -0.3]))
    assert found.first.tone is not None
    ratios = (
        found.volume.resistance_ohms / humbucker.volume.resistance_ohms,
        found.first.tone.pot.resistance_ohms / tone.pot.resistance_ohms,
        found.first.tone.capacitance_farads / tone.capacitance_farads,
        found.cable_farads / humbucker.cable_farads,
    )
    assert ratios == pytest.approx((1.1, 0.8, 1.05, 0.7))
    toneless = humbucker.with_first(replace(humbucker.first, tone=None))
    assert _strayed(toneless, np.zeros(4)) == toneless


def test_half_widths_hold_the_truth_a_little_more_than_19_times_of_20() -> None:
    """2 to 2.3 standard deviations of a Gaussian (1.96 would be 95 %); of two, as far as both."""
    one = half_width(3.0, np.array([3.0]), np.array([0.1]), np.ones(1))
    assert 0.196 < one < 0.23
    two = half_width(0.0, np.array([0.0, 1.0]), np.array([1e-3, 1e-3]), np.array([0.5, 0.5]))
    assert two == pytest.approx(1.0, abs=3e-3) and two > 1.0
