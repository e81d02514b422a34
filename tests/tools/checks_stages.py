"""Checks of the dirt stages against a simulator that solves their circuits by itself."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import scipy.interpolate

from check_row import Row
from netlist import (
    Array,
    following_dial,
    parts_of,
    run_spice,
    spice_lines,
)
from presolder.models.audio.driven import Driven
from presolder.models.audio.knob import KnobPath
from presolder.models.circuit.entrance import entrance_ohms
from presolder.models.circuit.rest import resting
from presolder.models.instrument.circuits import STAGE_KINDS, StageKind
from presolder.models.instrument.controls import Load
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Design, Network
from presolder.models.instrument.pedal import read_pedal
from presolder.models.instrument.stage import Stage
from presolder.render.files.rig_file import find_rig
from rendering import rms
from rigs import as_string_take
from stage_netlist import PEDALS, stage_lines

SOURCE = "ngspice: transient analysis of guitar and stage together"
RATE, SECONDS, RENDERED, STARTED = 48_000, 0.05, 0.1, 0.015
# The simulator's longest step, and tolerances that this step needs.
LONGEST_STEP_S = 2e-6
OPTIONS = ".options reltol=1e-6 abstol=1e-13 vntol=1e-9 gmin=1e-15 trtol=100"
# Within 6 dB of the worst that is measured.
LIMIT_DB = -56.0
RAMP = "(time<0.005 ? sin(314.159265358979*time)^2 : 1)"
SIGNALS = {
    "330 Hz": "sin(6.283185307179586*330*time)",
    "1.2 kHz": "sin(6.283185307179586*1200*time)",
    "3 kHz": "sin(6.283185307179586*3000*time)",
    "two tones": "(0.6*sin(6.283185307179586*294*time)+0.4*sin(6.283185307179586*1480*time))",
    "pluck": "exp(-50*time)*(0.7*sin(6.283185307179586*196*time)+0.5*sin(6.283185307179586*983*time)+0.3*sin(6.283185307179586*2750*time))",
}
NETWORKS = (None, "120k + 680p", "120k || 680p", "470p", "33k + (150k || 1n)")
TURNS = {
    "still": ((0.0, 1.0), (1.0, 1.0)),
    "falling": ((0.0, 1.0), (1.0, 0.45)),
    "rising": ((0.0, 0.3, 1.0), (0.3, 0.3, 1.0)),
}


@dataclass(frozen=True)
class Case:
    """One comparison: dials are those of the turn times `dial`."""

    stage: Stage
    rig: str
    network: str | None
    dial: float
    turn: str
    signal: str
    volts: float

    @property
    def path(self) -> KnobPath:
        """The turn, and then still: longer, so that no filter's edge is among what is compared."""
        shares, dials = TURNS[self.turn]
        return KnobPath(
            (*(share * SECONDS for share in shares), RENDERED),
            (*(share * self.dial for share in dials), dials[-1] * self.dial),
        )

    @property
    def design(self) -> Network | None:
        return None if self.network is None else parse_expression(self.network)


def cases_of(kind: StageKind) -> list[Case]:
    """Sixteen, that go through signals, networks, dials, turns, strengths and settings."""
    random = np.random.default_rng(STAGE_KINDS.index(kind))
    cases = []
    for index in range(16):
        full = index % 4 != 3
        stage = Stage(
            kind,
            control=10.0 if full else float(random.uniform(2, 9)),
            bias=5.0 if full else float(random.uniform(3.5, 6.5)),
            battery_ohms=50.0 if full else 900.0,
        )
        cases.append(
            Case(
                stage,
                ("humbucker-500k", "single-coil-250k")[index // 5 % 2],
                NETWORKS[index % 5],
                (10.0, 9.0, 7.5, 5.0)[(index + index // 5) % 4],
                "still" if index % 3 == 0 else list(TURNS)[1 + index % 2],
                list(SIGNALS)[(index + index // 5) % 5],
                (0.03, 0.1, 0.25)[index % 3],
            )
        )
    return cases


def emf_of(case: Case, time_s: Array) -> Array:
    """The netlist's own expression, by Python."""
    ramp = np.where(time_s < 0.005, np.sin(np.pi / 0.01 * time_s) ** 2, 1.0)
    text = SIGNALS[case.signal].replace("^", "**")
    names = {"sin": np.sin, "exp": np.exp, "time": time_s}
    return np.asarray(case.volts * ramp * eval(text, {"__builtins__": {}}, names))


def outside(case: Case) -> Array:
    """What the simulator hears at the audio rate, after the band limit that audio has."""
    rig = as_string_take(find_rig(case.rig)).feeding(Load())
    path = case.path
    corners = " ".join(f"{t!r} {d!r}" for t, d in zip(path.times_s, path.dials, strict=True))
    lines = [
        f"B0 emf 0 V = {case.volts!r}*{RAMP}*{SIGNALS[case.signal]}",
        f"V0 dial 0 PWL({corners})",
        *spice_lines(parts_of(rig, case.design, following_dial)),
        *stage_lines(case.stage),
    ]
    step = LONGEST_STEP_S
    rows = run_spice(
        lines, f"tran {step!r} {SECONDS!r} 0 {step!r}", nodes="v(heard)", options=OPTIONS
    )[0]
    fine = 10 * RATE
    time_s = np.arange(round(SECONDS * fine)) / fine
    signal = scipy.interpolate.CubicSpline(rows[:, 0], rows[:, 1] - rows[0, 1])(time_s)
    return band_limited(np.asarray(signal), fine)[:: fine // RATE]


def band_limited(signal: Array, rate: float) -> Array:
    """A squared sine of a squared sine from 20 to 24 kHz, as the docs say that renders have."""
    hz = np.fft.rfftfreq(signal.size, 1 / rate)
    fallen = np.sin(0.5 * np.pi * np.clip((hz - 20_000) / 4000, 0, 1)) ** 2
    gain = 1 - np.sin(0.5 * np.pi * fallen) ** 2
    return np.asarray(np.fft.irfft(np.fft.rfft(signal) * gain, signal.size))


def inside(case: Case) -> Array:
    rig = as_string_take(find_rig(case.rig)).feeding(Load(stage=case.stage))
    driven = Driven(rig, (Design("d", case.design),), RATE, 1.0)
    time_s = np.arange(round(RENDERED * RATE)) / RATE
    blocks = driven.along(case.path, emf_of(case, time_s)[np.newaxis])
    return np.concatenate([block[0][0] for block in blocks])[: round(SECONDS * RATE)]


@dataclass(frozen=True)
class Compared:
    """Difference in dB, and the largest error of a harmonic in dB (0 without a single tone).

    Of those above -60 dBc, and of the strong ones above -40 dBc.
    """

    difference_db: float
    harmonic_db: float
    strong_db: float


@cache
def compared(case: Case) -> Compared:
    ours, true = inside(case), outside(case)
    seen = slice(round(STARTED * RATE), round((SECONDS - 0.01) * RATE))
    difference = 20 * np.log10(rms((ours - true)[seen]) / rms(true[seen]))
    worst, strong = 0.0, 0.0
    if case.turn == "still" and case.signal.endswith("Hz"):
        hz = {"330 Hz": 330, "1.2 kHz": 1200, "3 kHz": 3000}[case.signal]
        # Ten periods of 330 Hz, and whole ones of the others.
        count = round(RATE * (10 / 330 if hz == 330 else 0.03))
        last = slice(seen.stop - count, seen.stop)
        spectra = [np.abs(np.fft.rfft(x[last] * np.hanning(count))) for x in (ours, true)]
        bins = np.round(np.arange(1, int(18_000 / hz) + 1) * hz * count / RATE).astype(int)
        share = spectra[1][bins] / spectra[1][bins[0]]
        off_db = np.abs(20 * np.log10(spectra[0][bins] / spectra[1][bins]))
        worst, strong = (float(off_db[share > least].max()) for least in (1e-3, 1e-2))
    return Compared(float(difference), worst, strong)


def spice_stages() -> list[Row]:
    rows = []
    for kind in STAGE_KINDS:
        found = [compared(case) for case in cases_of(kind)]
        what = f"{kind} behind two guitars: tones to 3 kHz, two tones and plucks, knob still and turning:"
        rows.append(
            Row(SOURCE, f"{what} waveform after start-up, relative RMS", len(found),
                max(one.difference_db for one in found), LIMIT_DB, "dB")
        )  # fmt: skip
        tones = [one for one in found if one.harmonic_db > 0]
        rows.append(
            Row(SOURCE, f"{what} harmonics above -60 dBc", len(tones),
                max(one.harmonic_db for one in tones), 0.15, "dB")
        )  # fmt: skip
    return rows


def spice_pedals() -> list[Row]:
    """Fifteen ordinary stages as netlists of one's own, read by us and by the simulator."""
    rows = []
    for file in sorted(PEDALS.glob("*.cir")):
        stage = Stage.as_drawn(read_pedal(file.read_text("utf-8"), file.stem))
        found = [
            compared(Case(stage, rig, network, dial, turn, signal, volts))
            for rig, network, dial, turn, signal, volts in (
                ("humbucker-500k", None, 10.0, "still", "330 Hz", 0.1),
                ("humbucker-500k", "120k + 680p", 6.0, "still", "1.2 kHz", 0.25),
                ("single-coil-250k", "120k || 680p", 8.0, "still", "330 Hz", 0.02),
                ("single-coil-250k", None, 9.0, "falling", "pluck", 0.2),
            )
        ]
        title = file.read_text("utf-8").splitlines()[0].lower()
        # Two in turn switch hard, where what is left is the steps' own error.
        waveform_db, harmonic_db = (-56.0, 0.1) if "pair" in file.stem else (-73.0, 0.015)
        rows += [
            Row(SOURCE, f"own netlist, {title}: waveform after start-up, relative RMS", len(found),
                max(one.difference_db for one in found), waveform_db, "dB"),
            Row(SOURCE, f"own netlist, {title}: harmonics above -40 dBc", 3,
                max(one.strong_db for one in found), harmonic_db, "dB"),
        ]  # fmt: skip
    return rows


def spice_harmonics() -> list[Row]:
    """The germanium stage from barely driven to full, where its harmonics are few or many."""
    strong, weak = 0.0, 0.0
    cases = [
        Case(Stage("germanium-fuzz"), "humbucker-500k", network, dial, "still", "330 Hz", volts)
        for network in (None, "120k + 680p", "120k || 680p")
        for dial in (10.0, 7.0, 4.0)
        for volts in (0.005, 0.02, 0.05, 0.1, 0.3)
    ]
    for case in cases:
        found = compared(case)
        strong, weak = max(strong, found.strong_db), max(weak, found.harmonic_db)
    what = (
        "germanium-fuzz, 330 Hz of 5 to 300 mV, three designs at dials 10, 7 and 4: harmonics above"
    )
    return [
        Row(SOURCE, f"{what} -40 dBc", len(cases), strong, 0.1, "dB"),
        Row(SOURCE, f"{what} -60 dBc", len(cases), weak, 0.2, "dB"),
    ]


NAMES = {
    "germanium-fuzz": {"base1": "base", "collector1": "one", "emitter2": "emit",
                       "collector2": "two", "tap": "tap", "rail": "rail"},
    "treble-booster": {"base": "base", "emitter": "emit", "collector": "coll", "rail": "rail"},
    "diode-clipper": {"strong": "strong", "across": "across"},
}  # fmt: skip
NAMES["silicon-fuzz"] = NAMES["germanium-fuzz"]
SETTINGS = (
    {}, {"control": 3.0}, {"bias": 2.0}, {"bias": 8.0}, {"battery_ohms": 2000.0},
    {"supply_volts": 6.0, "control": 7.0},
)  # fmt: skip


def spice_working_points() -> list[Row]:
    volts, ohms, cases = 0.0, 0.0, 0
    for kind in STAGE_KINDS:
        for settings in SETTINGS:
            stage = Stage(kind, **settings)
            names = NAMES[kind]
            lines = [*stage_lines(stage), "Rmeter out 0 1e8", "Imeter 0 out AC 1"]
            nodes = " ".join(f"v({node})" for node in names.values())
            (at_rest,) = run_spice(lines, "op", nodes=nodes, options=OPTIONS)
            told = resting(stage).node_volts
            off = np.array([told[node] for node in names]) - np.atleast_1d(at_rest)[1:]
            volts = max(volts, float(np.abs(off).max()))
            response = run_spice(lines, "ac dec 12 80 12000", options=OPTIONS)[0]
            true = response[:, 1] + 1j * response[:, 2]
            ratio = entrance_ohms(stage, response[:, 0]) / true
            ohms = max(ohms, float(np.abs(ratio - 1).max()))
            cases += 1
    what = "every stage at six settings:"
    return [
        Row("ngspice: operating point", f"{what} each node's voltage at rest", cases, 1e3 * volts, 1.0, "mV"),
        Row("ngspice: AC analysis", f"{what} impedance of the input, 80 Hz to 12 kHz", cases, 100 * ohms, 1.0, "%"),
    ]  # fmt: skip
