"""The clipping stage: curves against outside solutions, aliasing, alignment, cleaning up."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.integrate
import scipy.optimize
import soundfile

import presolder as ps
from netlist import run_spice
from presolder.models.audio.clip import clipped, tabulate
from presolder.models.audio.drive import first_order_high_pass, loudest_second, pre_emphasis
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.positions import SignalPath, render_pieces
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.stages import Stages, voice
from presolder.models.audio.static_curves import (
    DIODE_SATURATION_AMPERES,
    DIODE_SLOPE_VOLTS,
    DIODE_SOURCE_OHMS,
    diode_volts,
    first_order_gain,
    knee_volts,
    static_curve,
)
from presolder.models.audio.voicing import hum_and_hiss, measured_speaker, plain_speaker, voiced
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.dirt import DIRT_KINDS, Dirt, DirtKind
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.judging.tones import (
    clean_dial,
    clean_up,
    tone_harmonics,
    total_harmonic_distortion,
)
from presolder.render.files.rig_file import built_in_rigs
from presolder.render.files.take import Take
from rendering import Array, band_rms, rendered, resting, rms
from running import in_process, presolder_here
from takes import SAMPLES

RATE = 48_000


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_high_pass_before_a_curve_is_the_textbooks(rate: int) -> None:
    """Of first order: f / sqrt(f^2 + corner^2), as an RC has it (any textbook; from memory)."""
    hz = np.array([10.0, 30.0, 80.0, 160.0, 500.0, 2000.0])
    _, gain = scipy.signal.freqz_sos(first_order_high_pass(80.0, rate), hz, fs=rate)
    # Measured 0.00009 dB.
    wanted_db = decibels(hz / np.hypot(hz, 80.0))
    assert decibels(np.abs(gain)) == pytest.approx(wanted_db, abs=0.0002)


def through(signal: Array, dirt: Dirt, volts: float, block: int = 10_000) -> Array:
    pieces = [signal[None, i : i + block] for i in range(0, signal.size, block)]
    return np.concatenate(list(clipped(pieces, RATE, dirt, volts)), axis=1)[0]


def blocked(frequency_hz: Array) -> Array:
    """What blocks direct voltage, as the docs have it: first order, 10 Hz."""
    return np.asarray(1j * frequency_hz / (10 + 1j * frequency_hz))


def wide(kind: DirtKind, drive_db: float) -> Dirt:
    """A stage whose filters are out of the way."""
    return Dirt(kind, drive_db, pre_hz=1.0, post_hz=20_000.0)


def test_diode_curve_against_root_finding() -> None:
    """scipy.optimize.brentq on Shockley's equation."""
    for source in (0.01, 0.2, 0.5, 1.0, 10.0, 300.0):

        def excess(v: float, source: float = source) -> float:
            current = 2 * DIODE_SATURATION_AMPERES * np.sinh(v / DIODE_SLOPE_VOLTS)
            return float(v + DIODE_SOURCE_OHMS * current - source)

        root = scipy.optimize.brentq(excess, 0, min(source, 1.0), xtol=1e-14)
        assert diode_volts([source, -source]) == pytest.approx([root, -root], rel=1e-9)


def test_curves_have_unit_gain_and_their_equations() -> None:
    small = 1e-5
    for kind in DIRT_KINDS:
        assert static_curve(kind, small) / small == pytest.approx(1.0, rel=1e-4)
    volts = np.linspace(-5, 5, 101)
    assert static_curve("smooth", volts) == pytest.approx(
        (np.exp(2 * volts) - 1) / (np.exp(2 * volts) + 1)
    )
    biased = static_curve("lopsided", volts)
    slope = 1 / np.cosh(0.35) ** 2
    assert biased == pytest.approx((np.tanh(volts + 0.35) - np.tanh(0.35)) / slope)
    for kind in DIRT_KINDS:
        knee = knee_volts(kind)
        falls = [20 * np.log10(abs(static_curve(kind, s * knee)) / knee) for s in (1, -1)]
        assert min(falls) == pytest.approx(-1.0, abs=0.01)


def test_tabulated_antiderivatives_of_a_smooth_curve() -> None:
    """ln cosh is that of tanh (any table of integrals; from memory), and its own by quadrature."""
    table = tabulate(Dirt("smooth", 20.0))
    volts = table.first + table.step * np.arange(table.curves.shape[1])

    def once(v: Array) -> Array:
        return np.asarray(np.abs(v) + np.log1p(np.exp(-2 * np.abs(v))) - np.log(2))

    # Measured 5.7e-11; without the correction at the ends of each step, 3e-6.
    assert table.curves[1] == pytest.approx(once(volts), abs=1e-10)
    for at in np.searchsorted(volts, [0.5, 2.0, 5.0]):
        twice = scipy.integrate.quad(once, 0, volts[at], epsabs=1e-12)[0]
        # Measured 2.1e-10.
        assert table.curves[2, at] == pytest.approx(twice, abs=4e-10)


@pytest.mark.parametrize("frequency_hz", [100.0, 1000.0])
def test_diode_waveform_against_ngspice(frequency_hz: float) -> None:
    """A real diode pair in the simulator: waveform within 1 % RMS."""
    peak, seconds = 4.0, 4 / frequency_hz
    # At the simulator's 27 degrees C, kT/q is 25.8649 mV.
    ideality = DIODE_SLOPE_VOLTS / 0.0258649
    rows = run_spice(
        [
            f"V0 emf 0 SIN(0 {peak} {frequency_hz})",
            f"R1 emf out {DIODE_SOURCE_OHMS}",
            "D1 out 0 pair",
            "D2 0 out pair",
            f".model pair D(IS={DIODE_SATURATION_AMPERES} N={ideality})",
        ],
        f"tran {seconds / 20000} {seconds} 0 {seconds / 20000}",
    )[0]
    time_s = np.arange(round(seconds * RATE)) / RATE
    outside = np.interp(time_s, rows[:, 0], rows[:, 1])
    # Extended both ways, so that the band limit sees no edge.
    longer = np.arange(-3 * time_s.size, 3 * time_s.size) / RATE
    dirt = wide("diodes", 30)
    # The stage's own high-pass is undone at this frequency, to compare the curve alone.
    turn = peak / complex(first_order_gain(dirt, frequency_hz)[0])
    source = (turn * np.exp(2j * np.pi * frequency_hz * longer)).imag
    ours = through(source, dirt, 1.0)
    ours = ours[3 * time_s.size : 4 * time_s.size]
    harmonics = np.fft.rfftfreq(time_s.size, 1 / RATE)
    _, low_pass = first_order_gain(dirt, harmonics)
    expected = np.fft.irfft(np.fft.rfft(outside) * low_pass * blocked(harmonics), time_s.size)
    assert rms(ours - expected) / rms(expected) < 0.01


def test_thd_of_known_cases() -> None:
    """Closed-form Fourier series.

    x + a x^2 + b x^3 of a unit sine: sin^2 = (1 - cos 2t)/2 and sin^3 = (3 sin t
    - sin 3t)/4. A square wave (the limit of hard clipping) has harmonics 1/n at
    odd n, so that its distortion is sqrt(1 - 8/pi^2).
    """
    a, b = 0.2, -0.1
    phase = 2 * np.pi * np.arange(4096) / 4096
    wave = np.sin(phase) + a * np.sin(phase) ** 2 + b * np.sin(phase) ** 3
    harmonics = np.fft.rfft(wave)[1:20]
    first, second, third = 1 + 0.75 * b, a / 2, -b / 4
    expected = np.hypot(second, third) / np.sqrt(first**2 + second**2 + third**2)
    assert total_harmonic_distortion(harmonics) == pytest.approx(expected, rel=1e-9)
    square = tone_harmonics("smooth", [1e6])
    assert total_harmonic_distortion(square)[0] == pytest.approx(
        np.sqrt(1 - 8 / np.pi**2), abs=1e-3
    )


@pytest.mark.parametrize("kind", DIRT_KINDS)
@pytest.mark.parametrize(("tone_hz", "most_db"), [(4100, -95), (10_000, -80)])
@pytest.mark.parametrize("drive_db", [40.0, 60.0])
def test_no_alias_above_minus_80_db(
    kind: DirtKind, tone_hz: int, most_db: float, drive_db: float
) -> None:
    """Measured: -98 dB and less at 4.1 kHz, -83 dB at 10 kHz, both at 60 dB."""
    tone = np.sin(2 * np.pi * tone_hz * np.arange(5 * RATE // 2) / RATE)
    output = through(tone, wide(kind, drive_db), knee_volts(kind) * 10 ** (drive_db / 20))
    spectrum = np.abs(np.fft.rfft(output[RATE : 2 * RATE]))
    bins = np.arange(spectrum.size)
    aliased = (bins % tone_hz != 0) & (bins <= 16_000) & (bins > 20)
    assert 20 * np.log10(spectrum[aliased].max() / spectrum[tone_hz]) < most_db


@pytest.mark.parametrize("kind", DIRT_KINDS)
def test_no_direct_voltage(kind: DirtKind) -> None:
    """A lopsided curve makes some of a strong tone, and more when it sets in; it is blocked."""
    tone = np.sin(2 * np.pi * 220 * np.arange(2 * RATE) / RATE)
    output = through(tone, Dirt(kind, 30.0), knee_volts(kind) * 10 ** (30 / 20))
    # Eleven periods in 2400 samples.
    assert abs(output[-2400 * 12 :].mean()) < 1e-3 * np.abs(output).max()


@pytest.mark.parametrize("kind", DIRT_KINDS)
def test_quiet_signal_passes_unchanged_and_aligned(kind: DirtKind) -> None:
    noise = np.random.default_rng(1).normal(size=2 * RATE)
    keep = np.fft.rfftfreq(noise.size, 1 / RATE)
    noise = np.fft.irfft(np.fft.rfft(noise) * ((keep > 300) & (keep < 12_000)), noise.size)
    dirt = wide(kind, 0.0)
    output = through(noise, dirt, 1e-5) / 1e-5
    before, after = first_order_gain(dirt, keep)
    expected = np.fft.irfft(np.fft.rfft(noise) * before * after * blocked(keep), noise.size)
    middle = slice(RATE // 2, -RATE // 2)
    assert rms((output - expected)[middle]) / rms(expected[middle]) < 1e-3


def test_output_does_not_depend_on_block_length(takes: dict[str, Take]) -> None:
    signal = takes["phrase"].samples[0, :60_000]
    one = through(signal, Dirt("diodes", 25.0), 8.0)
    assert one.size == signal.size
    for block in (333, 8192, 60_000):
        assert np.array_equal(one, through(signal, Dirt("diodes", 25.0), 8.0, block))


@pytest.mark.slow
def test_drive_means_the_same_for_any_recording(takes: dict[str, Take], humbucker: Rig) -> None:
    """The loudest second reaches the knee times the drive, however loud the file is."""
    take, bare = takes["phrase"], (Design("bare", None),)
    for scale in (1.0, 0.01):
        quiet = replace(take, samples=take.samples * scale)
        for kind in DIRT_KINDS:
            dirt = Dirt(kind, 12.0)
            renderer = Renderer(humbucker, bare, take.sample_rate_hz)
            ready = voice(renderer, Stages(dirt=dirt), quiet.samples)
            path = KnobPath((0.0, take.duration_s), (10.0, 10.0))
            chain = rendered(quiet.samples, take.sample_rate_hz, ready.renderer.rig, bare, path)[0]
            section = pre_emphasis(dirt, take.sample_rate_hz)
            peak = loudest_second([chain], take.sample_rate_hz, section).ordinary_peak
            reached_db = 20 * np.log10(peak * ready.volts_per_unit / knee_volts(kind))
            assert reached_db == pytest.approx(12.0, abs=1e-6)


FUZZY = Dirt("lopsided-10k", 20.0)
DIALS = np.linspace(0.1, 10, 100)


@pytest.mark.slow
@pytest.mark.parametrize(
    "dirt",
    [FUZZY, Dirt("smooth", 20.0)],
    ids=lambda d: d.kind,
)
def test_order_of_cleaning_up(dirt: Dirt, rigs: dict[str, Rig]) -> None:
    """Common practice, no source; the values are check values for these tests alone.

    A lone capacitor is compared at the value that the others have. The rule is
    about one pickup: a second one at 10 keeps the stage driven at every dial.
    """
    for rig in (rig for rig in rigs.values() if len(rig.channels) == 1):
        figures = {
            text: clean_up(rig, parse_expression(text) if text else None, dirt, DIALS)
            for text in ("180k || 820p", "100k + 820p", "", "820p")
        }
        for threshold in (0.10, 0.03):
            clean = {text: clean_dial(figure, threshold) or 0.0 for text, figure in figures.items()}
            assert clean["180k || 820p"] < clean["100k + 820p"] <= clean[""], rig.name
        low = (DIALS >= 1) & (DIALS <= 3)
        brightest = figures["820p"].treble_db[low]
        for text in ("180k || 820p", "100k + 820p", ""):
            assert np.all(brightest > figures[text].treble_db[low]), (rig.name, text)


def test_a_lone_capacitor_is_brightest_at_low_dial_on_500k_pots(rigs: dict[str, Rig]) -> None:
    for rig in rigs.values():
        if rig.first.volume.resistance_ohms == 500e3 and len(rig.channels) == 1:
            low = np.array([1.0, 2.0])
            treble = {
                text: clean_up(rig, parse_expression(text), FUZZY, low).treble_db
                for text in ("390p", "180k || 820p", "100k + 820p")
            }
            assert np.all(treble["390p"] > treble["180k || 820p"])
            assert np.all(treble["390p"] > treble["100k + 820p"])


def test_low_impedance_input_makes_the_guitar_part_of_the_circuit(
    humbucker: Rig, takes: dict[str, Take]
) -> None:
    """A 10k input loses treble against a 1M one, and steepens the first turn of the knob."""
    levels = {}
    for kind in ("smooth", "lopsided-10k"):
        take = takes["phrase"]
        renderer = Renderer(humbucker, (Design("bare", None),), take.sample_rate_hz)
        rig = voice(renderer, Stages(dirt=Dirt(kind)), take.samples).renderer.rig
        # The take was made into the guitar's own input, whatever it feeds now.
        assert rig.load == Dirt(kind).load
        assert rig.take.rig is not None and rig.take.rig.load == humbucker.load
        levels[kind] = decibels(transfer(chain_equations(rig, None), [500.0, 3000.0], [10.0, 9.0]))
    loss_db = levels["smooth"][0] - levels["lopsided-10k"][0]
    assert loss_db[1] > loss_db[0] + 6
    first_turn = {kind: level[0, 0] - level[1, 0] for kind, level in levels.items()}
    assert first_turn["lopsided-10k"] > first_turn["smooth"] + 6


def test_speakers_and_noise() -> None:
    impulse = np.zeros((1, RATE))
    impulse[0, 1000] = 1.0
    spectrum = np.abs(
        np.fft.rfft(np.concatenate(list(voiced([impulse], plain_speaker(RATE))), 1)[0])
    )
    db = 20 * np.log10(spectrum)
    assert db[40] < db[400] - 10
    assert db[12_000] < db[400] - 25
    assert 3 < db[2600] - db[400] < 6
    # A user's response of a delay of 5 ms at another rate: a delay, at our rate.
    delay = np.zeros(2000)
    delay[480] = 3.0
    out = np.concatenate(list(voiced([impulse], measured_speaker(delay, 96_000, RATE))), 1)[0]
    assert np.argmax(np.abs(out)) == 1240
    noise = hum_and_hiss(2 * RATE, RATE)
    assert rms(noise) == pytest.approx(1.0, rel=0.03)
    lines = np.square(np.abs(np.fft.rfft(noise)))
    # Two seconds: a line every half hertz. Half of the power is at 50 Hz, a tenth hiss.
    assert lines[100] / lines.sum() == pytest.approx(0.5, rel=0.05)
    assert lines[[100, 200, 300]].sum() / lines.sum() == pytest.approx(0.9, rel=0.02)


def test_the_knob_turns_hum_and_hiss_down(humbucker: Rig, takes: dict[str, Take]) -> None:
    """They come in at the coil, so that they follow the chain as the take's EMF does."""
    take, rate = takes["phrase"].samples, 48_000
    designs = (Design("bare", None), Design("470p", parse_expression("470p")))
    quiet = voice(Renderer(humbucker, designs, rate), Stages(), take)
    noisy = voice(Renderer(humbucker, designs, rate), Stages(hum_db=-40.0), take)

    def noise_at(dial: float) -> list[Array]:
        path = resting(dial, 2.0)
        return [
            n - q for n, q in zip(noisy.whole(path, take), quiet.whole(path, take), strict=True)
        ]

    at_ten, at_three = noise_at(10.0), noise_at(3.0)
    loudest = max(rms(take[0, i : i + rate]) for i in range(0, take.shape[1] - rate, rate // 10))
    for design in (0, 1):
        assert rms(at_ten[design]) == pytest.approx(loudest * 0.01, rel=0.1)
    # Hum falls as 50 Hz does; the difference of the designs is in the hiss above it.
    fall_db = 20 * np.log10(rms(at_ten[0]) / rms(at_three[0]))
    gains = transfer(chain_equations(humbucker, None), 50.0, [10.0, 3.0])[:, 0]
    assert fall_db == pytest.approx(20 * np.log10(abs(gains[0] / gains[1])), abs=0.6)
    hiss = [np.diff(audio[0], 3) for audio in at_three]
    assert rms(hiss[1]) > 2 * rms(hiss[0])
    # Made in pieces of 65,536 samples, of which none is there twice.
    first, later = hiss[1][2000:28_000], hiss[1][2000 + 65_536 : 28_000 + 65_536]
    assert abs(np.corrcoef(first, later)[0, 1]) < 0.1


@pytest.mark.slow
def test_the_clean_voice_beside_the_dirty_one_has_loudspeaker_and_hum(
    humbucker: Rig, takes: dict[str, Take]
) -> None:
    """All but the dirt: a pack's two voices differ by nothing else."""
    take, renderer = takes["phrase"].samples, Renderer(humbucker, (Design("bare", None),), RATE)

    def clean(stages: Stages) -> Array:
        path, turn = SignalPath(renderer, stages), resting(10.0, 1.0)
        pieces = render_pieces([path], take, turn, (10.0,), lambda _: None)
        (held,) = (one for one in pieces if (one.voice, one.dial) == ("clean", 10.0))
        assert {one.voice for one in pieces} == {"clean", "dirt"}
        return held.audio[0].astype(np.float64)

    speaker, dirt = plain_speaker(RATE), Dirt("smooth")
    plain, spoken, hummed = (
        clean(stages)
        for stages in (Stages(dirt=dirt), Stages(dirt=dirt, speaker=speaker),
                       Stages(-40.0, dirt, speaker))
    )  # fmt: skip
    # At 8 to 12 kHz a loudspeaker gives 20 dB less and more than at 500 Hz.
    body, top = (400, 600), (8_000, 12_000)
    tilt = [band_rms(one, RATE, *top) / band_rms(one, RATE, *body) for one in (plain, spoken)]
    assert tilt[1] < 0.1 * tilt[0]
    loudest = max(rms(plain[i : i + RATE]) for i in range(0, plain.size - RATE, RATE // 10))
    # Half of the power of hum and hiss 40 dB down, through a loudspeaker that cuts 50 Hz by 10 dB.
    added = band_rms(hummed - spoken, RATE, 45, 55)
    assert 20 * np.log10(added / loudest) == pytest.approx(-40 - 3 - 10, abs=3)


@pytest.mark.parametrize(
    "impulse", [np.zeros(0), np.zeros(100), np.full(10, np.nan), np.ones(10 * RATE + 1)]
)
def test_unusable_impulse_responses(impulse: Array) -> None:
    with pytest.raises(InputError, match="empty|silent|not finite|at most 10 s"):
        measured_speaker(impulse, RATE, RATE)


def test_dirt_and_its_manifest(tmp_path: Path) -> None:
    out = tmp_path / "dirty"
    result = presolder_here("render", SAMPLES / "phrase.flac", "--dirt", "diodes", "--drive", "24",
                       "--speaker", "plain", "--hum-db", "-70", "--design", "bare", "--out", out)  # fmt: skip
    assert result.returncode == 0, result.stderr
    manifest = json.loads((out / "manifest.json").read_text())
    dirt = manifest["after"]["dirt"]
    assert dirt["loudest_second_volts"] == pytest.approx(dirt["knee_volts"] * 10 ** (24 / 20))
    assert manifest["rig"]["load"]["resistance_ohms"] == 500e3
    audio, rate = soundfile.read(out / "sweep" / "bare.wav")
    assert audio.size == 10 * rate
    # The knob is at 0 in the last second, and takes hum and hiss with it.
    assert rms(audio[-rate // 2 :]) < 1e-5 * rms(audio[:rate])


@pytest.mark.parametrize(
    "stage", [["--dirt", "lopsided-10k"], ["--speaker", "plain"], ["--hum-db", "-50"]]
)
@pytest.mark.parametrize("channels", [1, 2])
def test_each_stage_alone(tmp_path: Path, stage: list[str], channels: int) -> None:
    audio, rate = soundfile.read(SAMPLES / "phrase.flac", always_2d=True)
    soundfile.write(tmp_path / "in.wav", np.repeat(audio, channels, axis=1), rate)
    result = presolder_here("render", tmp_path / "in.wav", *stage, "--design", "cap", "--travel", "1",
                       "--rest", "0", "--out", tmp_path / "out")  # fmt: skip
    assert result.returncode == 0, result.stderr
    rendered_audio, _ = soundfile.read(tmp_path / "out" / "sweep" / "cap.wav", always_2d=True)
    assert rendered_audio.shape == (rate, channels)
    assert np.ptp(rendered_audio, axis=1).max() == 0
    # The stage is heard: beside the take at one level it is no copy of it.
    plain = audio[:rate, 0] / rms(audio[:rate])
    assert rms(rendered_audio[:, 0] / rms(rendered_audio) - plain) > 1e-3


@pytest.mark.slow
def test_cleanup_command(tmp_path: Path) -> None:
    result = presolder_here("cleanup", "--dirt", "smooth", "--design", "bare", "--design", "1n", "--csv",
                       tmp_path / "c.csv", "--plot", tmp_path / "c.png")  # fmt: skip
    assert result.returncode == 0, result.stderr
    assert "playing" in result.stdout and "edge left" in result.stdout
    assert (
        (tmp_path / "c.csv").read_text().startswith("design,dial,thd_percent,level_db,treble_db,")
    )
    assert (tmp_path / "c.png").stat().st_size > 10_000


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--dirt", "smooth", "--drive", "lots"], "'lots' is not a valid float"),
        (["--dirt", "smooth", "--drive", "500"], "--drive: drive = 500 must lie between 0 and 60"),
        (["--dirt", "smooth", "--drive", "nan"], "must lie between"),
        (["--drive", "10"], "needs a --dirt kind"),
        (["--dirt", "crunchy"], "is not one of"),
        (["--dirt", "fuzz"], "'fuzz' is now 'lopsided-10k'"),
        (["--dirt", "silicon-fuzz", "--drive", "9"], "silicon-fuzz is a circuit (see --touch)"),
        (["--dirt", "smooth", "--touch", "3"], "--touch 3 needs a circuit as --dirt; one of germ"),
        (
            ["--dirt", "diode-clipper", "--touch", "300"],
            "touch_db = 300 must lie between -60 and 60",
        ),
        (["--hum-db", "20"], "must lie between"),
        (["--speaker", "{silent}"], "silent"),
        (["--speaker", "{empty}"], "empty"),
        (["--speaker", "{long}"], "at most 10 s"),
        (["--speaker", "no.wav"], "no such file"),
    ],
)
def test_bad_dirt_options(tmp_path: Path, options: list[str], message: str) -> None:
    files = {name: tmp_path / f"{name}.wav" for name in ("silent", "empty", "long")}
    soundfile.write(files["silent"], np.zeros(1000), RATE)
    soundfile.write(files["empty"], np.zeros(0), RATE)
    soundfile.write(files["long"], np.ones(11 * RATE) * 0.1, RATE)
    filled = [option.format(**files) for option in options]
    take = str(SAMPLES / "phrase.flac")
    result = presolder_here("render", take, *filled, "--out", tmp_path / "out")
    assert result.returncode == 2
    assert message in result.stderr
    assert result.stderr.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_a_curve_of_ones_own_is_the_curve() -> None:
    """As a function and as a file of points, beside the built-in one with the same formula."""
    take, sweep = ps.sample("phrase"), ps.turn(10, 5, travel=1, rest=0)

    def heard(dirt: object) -> Array:
        return ps.render(take, "humbucker-500k", ["cap"], sweep, dirt=dirt)["cap"]  # type: ignore[arg-type]

    built_in = heard("smooth")
    own = heard(np.tanh)
    assert np.std(own - built_in) / np.std(built_in) < 1e-7
    # Its slope at 0 is made 1, whatever the units.
    louder = heard(lambda volts: 30.0 * np.tanh(volts))
    assert np.std(louder - built_in) / np.std(built_in) < 1e-7


def test_a_curve_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "mine.csv"
    volts = np.linspace(-6, 6, 801)
    rows = "".join(f"{one},{np.tanh(one)}\n" for one in volts.tolist())
    file.write_text("volts_in,volts_out\n" + rows)
    dirt = ps.dirt(file, drive=12)
    assert isinstance(dirt, Dirt) and str(dirt.kind) == "mine" and dirt.drive_db == 12
    assert knee_volts(dirt.kind) == pytest.approx(knee_volts("smooth"), rel=7e-4)
    for text, said in (
        ("volts_in,volts_out\n-1,-1\n0,0\n1,-1\n", "volts_out not fall"),
        ("volts_in,volts_out\n0,0\n1,1\n2,1\n", "from below 0 to above 0"),
        ("volts_in,volts_out\n-1,-1\n1,1\n", "2 points; 3 to 10000"),
        ("volts_in,volts_out\n-1,0\n-0.5,0\n0.5,0\n1,1\n", "is level at 0 V"),
        ("in,out\n-1,0\n", "first row must be volts_in,volts_out"),
    ):
        file.write_text(text)
        with pytest.raises(InputError, match=said):
            ps.render(ps.sample(), "humbucker-500k", ["cap"], ps.turn(10, 9, travel=1), dirt=file)


@pytest.mark.thorough
def test_the_command_and_a_pack_take_such_a_file(tmp_path: Path) -> None:
    """The page plays it itself: its engine has the curve's points."""
    file = tmp_path / "hard.csv"
    file.write_text("volts_in,volts_out\n-9,-1\n-1.001,-1\n-1,-1\n0,0\n1,1\n1.001,1\n9,1\n")
    in_process(
        "pack", str(SAMPLES / "phrase.flac"), "--design", "cap", "--hold", "5", "--travel", "1",
        "--single-file", "--dirt", str(file), "--out", str(tmp_path / "page.html"),
    )  # fmt: skip
    page = (tmp_path / "page.html").read_text("utf-8")
    assert '"kind": "hard"' in page


@pytest.mark.thorough
def test_a_rig_file_names_such_a_file(tmp_path: Path) -> None:
    """From beside it, in a situation too; and what is told of it is the name and the points."""
    (tmp_path / "hard.csv").write_text("volts_in,volts_out\n-9,-1\n-1,-1\n0,0\n1,1\n9,1\n")
    text = (built_in_rigs()["humbucker-500k"]).read_text("utf-8")
    file = tmp_path / "mine.toml"
    file.write_text(
        text + '\n[dirt]\nkind = "hard.csv"\ndrive = 12\n'
        '[situations.a]\n[situations.b]\ndirt = "hard.csv"\n[situations.c]\ndirt = "none"\n'
    )
    one, other, clean = (its.rig.dirt for its in ps.situations(file))
    assert isinstance(one, Dirt) and isinstance(other, Dirt) and clean is None
    assert str(one.kind) == str(other.kind) == "hard" and (one.drive_db, other.drive_db) == (12, 20)
    out = tmp_path / "out"
    in_process("render", str(SAMPLES / "phrase.flac"), "--rig", str(file), "--in", "a", "--design",
               "cap", "--travel", "0.5", "--rest", "0", "--out", str(out))  # fmt: skip
    told = json.loads((out / "manifest.json").read_text())
    assert told["rig"]["dirt"] == told["after"]["dirt"]["kind"] == "hard"
    assert told["after"]["dirt"]["points"][1] == [-1, -1]
    judged = json.loads(in_process("need", "--rig", str(file), "--in", "a", "--json"))
    assert judged["situations"][0]["judged_by"]["dirt"] == "hard"
    file.write_text(text + '\n[dirt]\nkind = "none-such.csv"\n')
    with pytest.raises(InputError, match="none-such.csv: no such file"):
        ps.rig(file)


def test_a_rig_is_heard_into_its_dirt() -> None:
    """As the commands do; what is given comes before it, and "none" leaves it out."""
    rig, take = replace(ps.rig(), dirt=Dirt("diodes")), ps.sample("phrase")
    sweep = ps.turn(10, 8, travel=0.5, rest=0)

    def heard(rig: Rig, dirt: object = None) -> Array:
        return ps.render(take, rig, ["cap"], sweep, dirt=dirt)["cap"]  # type: ignore[arg-type]

    own, clean = heard(rig), heard(replace(rig, dirt=None))
    assert np.array_equal(own, heard(replace(rig, dirt=None), rig.dirt))
    assert np.array_equal(heard(rig, "none"), clean) and not np.array_equal(own, clean)


@pytest.mark.thorough
def test_a_map_over_dial_and_picking(tmp_path: Path) -> None:
    """Picked harder it is dirtier, at any dial; at the strength that is usual, as the table says."""
    report = ps.cleanup("humbucker-500k", ["bare"], dirt="smooth", dials=[3, 6, 10])
    (picked,) = report.by_strength(np.array([-18.0, 0.0, 9.0]))
    assert picked.shape == (3, 3)
    assert np.all(np.diff(picked, axis=0) > 0)
    assert picked[1] == pytest.approx(report.played[0].distortion, rel=1e-6)
    file = tmp_path / "map.svg"
    in_process("cleanup", "--dirt", "smooth", "--design", "bare", "--map", str(file))
    assert "passes for clean" in file.read_text("utf-8")
    done = presolder_here("cleanup", "--dirt", "smooth", "--map", "map.txt")
    assert done.returncode == 2 and "--map 'map.txt' must end in .png or .svg" in done.stderr
