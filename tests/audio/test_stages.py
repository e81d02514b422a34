"""The dirt stages that are circuits: aliasing, silence, strength, blocks, and what players know."""

from dataclasses import replace
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import presolder as ps
from ears import ear_of
from presolder.models.audio.driven import Driven, advance, at_rest, emf_volts_for
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.loudness import integrated_loudness
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.stages import Stages, voice
from presolder.models.circuit.assembly import assemble
from presolder.models.circuit.branch import GROUND, OUTPUT, Branch
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.entrance import entrance_ohms
from presolder.models.circuit.equations import chain_equations, small_signal
from presolder.models.circuit.response import transfer
from presolder.models.circuit.stage_parts import stage_parts
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.circuits import STAGE_KINDS, StageKind
from presolder.models.instrument.controls import Load
from presolder.models.instrument.dirt import Curve, Dirt
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.judging.played import come_out, compared, tones
from presolder.render.files.take import Take
from rendering import Array, resting, rms
from rigs import as_string_take

RATE = 48_000


def driven(rig: Rig, stage: Stage, network: str | None = None, rate: int = RATE) -> Driven:
    fitted = None if network is None else parse_expression(network)
    fed = as_string_take(rig).feeding(Load(stage=stage))
    return Driven(fed, (Design("d", fitted),), rate, 1.0)


def heard(one: Driven, emf: Array, path: KnobPath, block: int = 1 << 16) -> Array:
    return np.concatenate([b[0] for b in one.along(path, np.atleast_2d(emf), block)], axis=1)


def tone(frequency_hz: float, volts: float, seconds: float) -> Array:
    time_s = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(
        volts * np.minimum(time_s / 0.05, 1) * np.sin(2 * np.pi * frequency_hz * time_s)
    )


@pytest.mark.parametrize("kind", STAGE_KINDS)
@pytest.mark.parametrize("frequency_hz", [1193, 4100])
def test_no_alias_above_minus_80_db(humbucker: Rig, kind: StageKind, frequency_hz: int) -> None:
    """At full fuzz, by a tone as strong as 100 mV of EMF: more than one string has."""
    audio = heard(driven(humbucker, Stage(kind)), tone(frequency_hz, 0.1, 2.0), resting(10, 2.0))
    # A second, of which every harmonic is a line of its own, and well away from the end.
    spectrum = np.abs(np.fft.rfft(audio[0, RATE - 6000 : 2 * RATE - 6000]))
    lines = np.arange(spectrum.size)
    aliased = (lines % frequency_hz != 0) & (lines <= 16_000) & (lines > 20)
    assert 20 * np.log10(spectrum[aliased].max() / spectrum[frequency_hz]) < -80


@pytest.mark.parametrize("kind", STAGE_KINDS)
def test_silence_stays_silent(humbucker: Rig, kind: StageKind) -> None:
    """No thump at the start, no direct voltage, whatever the knob does."""
    path = KnobPath((0.0, 0.1, 0.3), (10.0, 0.0, 10.0))
    assert np.abs(heard(driven(humbucker, Stage(kind)), np.zeros(14_400), path)).max() < 1e-10


@pytest.mark.parametrize("kind", STAGE_KINDS)
def test_no_direct_voltage_and_no_thump(humbucker: Rig, kind: StageKind) -> None:
    emf = np.concatenate([np.zeros(RATE // 5), tone(330, 0.1, 1.0)])
    audio = heard(driven(humbucker, Stage(kind)), emf, resting(10, 1.2))[0]
    # Over whole periods: 330 Hz has ten of them in 1455 samples, less a tenth of one.
    assert abs(audio[-8727:].mean()) < 2e-3 * np.abs(audio).max()
    # But for what a band limit rings before an onset.
    assert np.abs(audio[: RATE // 5 - 1000]).max() < 1e-6 * np.abs(audio).max()


@pytest.mark.parametrize("kind", STAGE_KINDS)
def test_sixty_decibels_too_much(humbucker: Rig, kind: StageKind) -> None:
    """150 V of EMF, with the knob running through its end stops."""
    path = KnobPath((0.0, 0.1, 0.2, 0.3), (10.0, 0.0, 0.0, 10.0))
    audio = heard(driven(humbucker, Stage(kind)), 1000 * tone(220, 0.15, 0.3), path)
    assert np.all(np.isfinite(audio))
    # No more than the battery has, and for the clipper than its diodes let through.
    assert np.abs(audio).max() < 12


def test_a_step_without_a_solution_is_an_error_with_its_time(humbucker: Rig) -> None:
    """What is no number can have none: never silence, nor NaN in the audio."""
    one = driven(humbucker, Stage())
    emf = np.zeros((one.oversampling, 480))
    emf[3, 240] = np.nan
    out = np.empty(emf.size)
    failed = advance(one.steps[0], np.full(480, 10.0), emf, at_rest(one.steps[0], 1)[0], out)
    with pytest.raises(
        InputError, match=r"germanium-fuzz behind 'd' finds no solution at 1\.0050 s"
    ):
        one.require_solved(0, failed, RATE)


def test_results_do_not_depend_on_blocks_nor_channels(
    humbucker: Rig, takes: dict[str, Take]
) -> None:
    emf = 0.15 * takes["phrase"].samples[:, :24_000]
    path = KnobPath((0.0, 0.5), (10.0, 3.0))
    one = driven(humbucker, Stage(), "120k || 680p")
    whole = heard(one, np.repeat(emf, 2, axis=0), path)
    assert np.array_equal(whole[0], whole[1])
    for block in (333, 8192):
        assert np.array_equal(whole[:1], heard(one, emf, path, block))


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(
    kind=st.sampled_from(STAGE_KINDS),
    control=st.floats(0, 10),
    bias=st.floats(0, 10),
    battery=st.floats(1, 10e3),
    volts=st.floats(1e-4, 10),
    dial=st.floats(0, 10),
    hz=st.floats(40, 5000),
)
def test_output_is_bounded(
    kind: StageKind,
    control: float,
    bias: float,
    battery: float,
    volts: float,
    dial: float,
    hz: float,
) -> None:
    """Whatever the settings: no more than the battery gives, and nothing that is no number."""
    from presolder.render.files.rig_file import find_rig

    stage = Stage(kind, control, bias, 9.0, battery)
    one = driven(find_rig("humbucker-500k"), stage)
    path = KnobPath((0.0, 0.05, 0.1), (dial, 10 - dial, dial))
    audio = heard(one, tone(hz, volts, 0.1), path)
    assert np.all(np.isfinite(audio))
    assert np.abs(audio).max() < 10


@pytest.mark.parametrize("kind", STAGE_KINDS)
def test_small_signals_follow_the_small_signal_circuit(humbucker: Rig, kind: StageKind) -> None:
    """What `curves` and `need` see, by a voltage divider with the input's impedance beside it."""
    stage = Stage(kind)
    for dial in (10.0, 6.0):
        fed = as_string_take(humbucker).feeding(Load(stage=stage))
        ohms = entrance_ohms(stage, 330.0)
        # By a source and a resistor in the stage's place: the same voltage at the jack.
        bare = humbucker.feeding(Load())
        descriptor = chain_equations(bare, None)
        open_gain = transfer(descriptor, 330.0, dial)[0, 0]
        loaded = transfer(chain_equations(fed, None), 330.0, dial)[0, 0]
        # Thevenin: the jack's own impedance from a second load.
        meter = transfer(chain_equations(humbucker.feeding(Load(1e4)), None), 330.0, dial)[0, 0]
        source = 1e4 * (open_gain / meter - 1)
        assert loaded == pytest.approx(open_gain * ohms[0] / (ohms[0] + source), rel=1e-6)


@pytest.mark.parametrize("kind", STAGE_KINDS)
def test_a_microvolt_through_the_full_circuit(humbucker: Rig, kind: StageKind) -> None:
    """Steps in time with Newton's method beside the frequency response at the working point."""
    for dial in (10.0, 6.0):
        one = driven(humbucker, Stage(kind))
        audio = heard(one, tone(1000, 1e-6, 0.6), resting(dial, 0.6))[0, -RATE // 4 - 4800 : -4800]
        phase = np.exp(-2j * np.pi * 1000 * np.arange(audio.size) / RATE)
        gain = 2 * abs((audio * phase).mean()) / 1e-6
        chain = control_chain(one.rig, None)
        at_output = chain_equations(one.rig, None).at(chain.stage_output)
        assert gain == pytest.approx(abs(transfer(at_output, 1000.0, dial)[0, 0]), rel=2e-3)


@pytest.mark.parametrize("control", [0.0, 5.0, 10.0])
def test_clippers_small_signals_by_hand(control: float) -> None:
    """A divider, the non-inverting amplifier's 1 + Zf / Zg, and a divider: textbook.

    The diodes, at rest, are n Vt / Is each: megohms beside kilohms.
    """
    hz = np.array([60.0, 330.0, 1000.0, 3000.0, 8000.0])
    s = 2j * np.pi * hz

    def beside(*impedances: complex | Array) -> Array:
        return np.asarray(1 / sum(1 / one for one in impedances))

    entry = beside(560e3, 1 / (47e-12 * s))
    divided = entry / (entry + 1 / (33e-9 * s))
    feedback = beside(4.7e3 + 22e3 * control, 1 / (68e-12 * s))
    strong = divided * (1 + feedback / (3.9e3 + 1 / (68e-9 * s)))
    after = beside(1 / (4.7e-9 * s), 1 / (100e-9 * s) + 470e3, 0.5 * 1.75 * 0.02585 / 2.5e-9)
    clipped = strong * after / (after + 8.2e3)
    out = clipped * 470e3 / (470e3 + 1 / (100e-9 * s))
    stage = Stage("diode-clipper", control=control)
    parts = stage_parts(stage, OUTPUT, count(OUTPUT + 1))
    source = Branch("source", 1, GROUND, 1.0), Branch("resistor", 1, OUTPUT, 1e-3)
    descriptor = small_signal((*source, *parts.branches), parts.devices, stage)
    for node, wanted in (
        (parts.names["strong"], strong), (parts.names["across"], clipped), (parts.output, out),
    ):  # fmt: skip
        found = transfer(descriptor.at(node), hz, 10.0)[0]
        assert found == pytest.approx(wanted, rel=3e-3)


def test_a_stages_level_is_all_that_its_level_moves(humbucker: Rig) -> None:
    """6.0206 dB is a factor of two, and not a harmonic more."""
    loud, soft = (
        heard(driven(humbucker, Stage("silicon-fuzz", level_db=db)), tone(330, 0.1, 0.1),
              resting(8.0, 0.1))
        for db in (0.0, -6.0206)
    )  # fmt: skip
    assert rms(loud) > 1e-3
    assert soft == pytest.approx(0.5 * loud, rel=1e-4, abs=1e-9)


def test_input_moves_with_the_fuzz_knob() -> None:
    """A few kilohms with the emitter bypassed, and feedback that makes it hundreds of ohms."""
    full, part = (abs(entrance_ohms(Stage(control=c), [330.0, 3000.0])) for c in (10.0, 7.5))
    assert 1.5e3 < full[0] < 6e3
    assert full[1] > 3.5e3
    assert part.max() < 1e3


def clip_share(rig: Rig, network: str | None) -> Array:
    """Distortion of 30 mV of EMF at 330 Hz at dials 5, 7, 8, 9 in percent."""
    fitted = None if network is None else parse_expression(network)
    (figures,) = tones(
        rig, (Design("d", fitted),), Stage(), np.array([5.0, 7.0, 8.0, 9.0]), 330.0, lambda _: None
    )
    return 100 * figures.thd


@pytest.mark.slow
def test_bare_cleans_at_once_and_r_parallel_c_stays_dirty(humbucker: Rig) -> None:
    """What players say of fuzzes of two germanium transistors: common practice, no source.

    The bare pot cleans as soon as it comes off 10; a capacitor with a resistor
    in series keeps that and adds clarity; beside a capacitor a resistor keeps
    feeding the fuzz.
    """
    assert humbucker.first.pickup.output_volts * 0.2 == pytest.approx(0.03)
    bare, series, parallel = (
        clip_share(humbucker, text) for text in (None, "120k + 680p", "120k || 680p")
    )
    assert bare[1] < 3.0
    assert parallel[1] > 15.0
    assert np.all(bare <= series) and np.all(series < parallel)
    # It is many times, and not the twofold that a curve behind a resistor makes of it.
    assert parallel[1] > 8 * bare[1]


@pytest.mark.slow
def test_playing_tells_the_same(humbucker: Rig, takes: dict[str, Take]) -> None:
    designs = tuple(
        Design(text or "bare", None if text is None else parse_expression(text))
        for text in (None, "120k + 680p", "120k || 680p")
    )
    ear = ear_of(replace(humbucker, dirt=Stage()), take=takes["chords"])
    out = come_out(ear, designs, np.array([5.0, 7.0, 9.0, 10.0]))
    bare, series, parallel = out.figures
    assert np.all(bare.distortion[:3] < series.distortion[:3])
    assert np.all(series.distortion[:3] < parallel.distortion[:3])
    assert parallel.distortion[1] > 1.5 * bare.distortion[1]
    # All are the same circuit at 10, and so is what an ideal knob leaves there.
    ideal = out.ideal_figures
    for one in (parallel, ideal):
        assert bare.distortion[3] == pytest.approx(one.distortion[3], rel=1e-3)
    assert ideal.level_db[3] == pytest.approx(0.0, abs=1e-9)
    # R + C keeps more edge than the bare pot.
    assert series.brightness_db[1] > bare.brightness_db[1] + 1


@pytest.mark.slow
def test_what_comes_out_of_a_curve_that_does_nothing_is_what_goes_in(humbucker: Rig) -> None:
    """Below its knee it is straight: then designs are judged as without it, as heard."""
    straight = Dirt(
        Curve(tuple((volts, max(-8.0, min(8.0, volts))) for volts in np.arange(-12.0, 13.0))),
        0.0,
        1.0,
        20_000.0,
    )
    fed = replace(humbucker, dirt=replace(straight, input=humbucker.load))
    take = Take(np.random.default_rng(1).normal(0, 0.1, (1, 2 * RATE)), RATE)
    names = ("series", "parallel-strong")
    clean, out = (ps.compare(rig, names, ps.Judging(take=take)) for rig in (humbucker, fed))
    for one in clean.ranked:
        other = next(it for it in out.ranked if it.design == one.design)
        assert other.heard == "dirt" and one.heard == "input"
        assert other.taper_phon == pytest.approx(one.taper_phon, abs=0.15)
        assert other.tone_db == pytest.approx(one.tone_db, abs=0.15)


def test_distortion_of_playing_against_a_known_noise(takes: dict[str, Take]) -> None:
    """Noise 20 dB below a clean signal is a tenth of it, late and loud as it may come."""
    signal = takes["phrase"].samples[:, : 4 * RATE]
    random = np.random.default_rng(3)
    noise = random.normal(size=signal.shape)
    # In the band that is counted.
    spectrum = np.fft.rfft(noise)
    hz = np.fft.rfftfreq(noise.shape[1], 1 / RATE)
    noise = np.fft.irfft(np.where((hz > 60) & (hz < 10_000), spectrum, 0), noise.shape[1])
    noise *= 0.1 * rms(signal) / rms(noise)
    delayed = np.roll(signal, 7, axis=1)
    distortion, _, _ = compared(signal, 3 * (delayed + noise), RATE)
    assert distortion == pytest.approx(0.1, rel=0.1)
    assert compared(signal, delayed, RATE)[0] < 0.02


def test_volts_are_the_pickups_and_touch_moves_them(humbucker: Rig, takes: dict[str, Take]) -> None:
    take = takes["phrase"]
    base = emf_volts_for(humbucker, Stage(), take.samples, RATE)
    louder = emf_volts_for(humbucker, Stage(touch_db=6.0), take.samples, RATE)
    assert louder / base == pytest.approx(10 ** (6 / 20))
    # However loud the file is, the same volts reach the circuit.
    assert 10 * emf_volts_for(humbucker, Stage(), 10 * take.samples, RATE) == pytest.approx(base)
    strong = replace(humbucker.first, pickup=replace(humbucker.first.pickup, output_volts=0.3))
    assert emf_volts_for(humbucker.with_first(strong), Stage(), take.samples, RATE) == (
        pytest.approx(2 * base)
    )


def test_hum_comes_in_with_the_strings(humbucker: Rig, takes: dict[str, Take]) -> None:
    """The knob takes hum down before the fuzz, and what is loud hides it."""
    take = takes["phrase"].samples[:, :RATE]
    renderer = Renderer(humbucker, (Design("bare", None),), RATE)
    silent = np.zeros_like(take)
    silent[:, : RATE // 4] = take[:, : RATE // 4]
    quiet, noisy = (
        voice(renderer, Stages(hum_db, Stage()), silent).whole(resting(dial, 1.0), silent)[0]
        for hum_db, dial in ((None, 10.0), (-40.0, 10.0))
    )
    tail = slice(-RATE // 4, None)
    assert rms(noisy[:, tail]) > 20 * rms(quiet[:, tail])
    assert integrated_loudness([noisy], RATE) is not None


def test_amplifier_branch_by_hand() -> None:
    """A voltage divider of 1k and 3k times a gain of -5: textbook."""
    descriptor = assemble(
        (
            Branch("source", 1, 0, 1.0),
            Branch("resistor", 1, 3, 1e3),
            Branch("resistor", 3, 0, 3e3),
            Branch("amplifier", 2, 0, -5.0, control=(3, 0)),
            Branch("resistor", 2, 0, 1e3),
        )
    )
    assert transfer(descriptor, 100.0, 5.0)[0, 0] == pytest.approx(-5 * 0.75)
    assert float(decibels(0.75)) == pytest.approx(-2.4988, abs=1e-4)
