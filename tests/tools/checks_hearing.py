"""Checks of loudness and sharpness against the standards, and against an independent library."""

import numpy as np
from mosqito.sq_metrics import loudness_zwst, sharpness_din_from_loudness

from check_row import Row
from netlist import Array
from presolder.models.hearing.bands import filter_powers, third_octave_db
from presolder.models.hearing.change import change, sound
from presolder.models.hearing.loudness import specific_loudness
from presolder.models.hearing.material import material
from presolder.models.hearing.sharpness import sharpness
from presolder.render.files.samples import SAMPLES, read_sample

# ISO 532-1:2017, annex B.2, test signal 1: third-octave levels of a machine.
SIGNAL_1_DB = np.array(
    [-60, -60, 78, 79, 89, 72, 80, 89, 75, 87, 85, 79, 86, 80,
     71, 70, 72, 71, 72, 74, 69, 65, 67, 77, 68, 58, 45, 30],
    dtype=float,
)  # fmt: skip
SIGNAL_1_SONE = 83.296
# ISO 532-1:2017, annex B.3, test signals 2 to 4: Hz, dB, sone.
TONES = ((250.0, 80.0, 14.655), (1000.0, 60.0, 4.019), (4000.0, 40.0, 1.549))
# DIN 45692:2009, table A.2: middle of a narrow band at 4 sone in Hz, acum.
NARROW_BANDS = ((250.0, 0.38), (1000.0, 1.00), (2500.0, 1.78), (4000.0, 2.82))


def tone_db(frequency_hz: float, level_db: float) -> Array:
    """A pure tone as a sound level meter's third-octave filters see it."""
    return np.asarray(level_db + 10 * np.log10(filter_powers(np.array([frequency_hz]))[0]))


def narrow_band_at_four_sone(middle_hz: float) -> Array:
    """Specific loudness of noise one critical band wide, brought to 4 sone.

    Bandwidth after Zwicker and Terhardt, J. Acoust. Soc. Am. 68, 1980.
    """
    width_hz = 25 + 75 * (1 + 1.4 * (middle_hz / 1000) ** 2) ** 0.69
    low_hz = np.sqrt(middle_hz**2 + width_hz**2 / 4) - width_hz / 2
    inside = filter_powers(np.linspace(low_hz, low_hz + width_hz, 400)).mean(axis=0)
    low, high = 20.0, 100.0
    for _ in range(40):
        level_db = (low + high) / 2
        specific, sone = specific_loudness(level_db + 10 * np.log10(inside))
        low, high = (level_db, high) if sone < 4 else (low, level_db)
    return specific


def annex_loudness() -> list[Row]:
    machine = float(specific_loudness(SIGNAL_1_DB)[1]) / SIGNAL_1_SONE - 1
    tones = [float(specific_loudness(tone_db(hz, db))[1]) / sone - 1 for hz, db, sone in TONES]
    source = "ISO 532-1:2017, annex B (values from memory)"
    return [
        Row(source, "loudness of test signal 1: relative error", 1, abs(machine), 1e-3, ""),
        Row(
            source,
            "loudness of test signals 2-4, tones, through Butterworth filters instead of the"
            " standard's: relative error",
            len(tones),
            float(np.abs(tones).max()),
            0.03,
            "",
        ),
    ]


def narrow_band_sharpness() -> list[Row]:
    errors = [
        float(sharpness(narrow_band_at_four_sone(hz))) / acum - 1 for hz, acum in NARROW_BANDS
    ]
    return [
        Row(
            "DIN 45692:2009, table A.2",
            "sharpness of narrow bands of noise at 4 sone: relative error",
            len(errors),
            float(np.abs(errors).max()),
            0.05,
            "",
        )
    ]


def takes_by_library() -> list[Row]:
    """From the samples of the bundled takes on, at two levels."""
    loud, sharp = [], []
    for name in SAMPLES:
        take = read_sample(name)
        heard = material(take.samples, take.sample_rate_hz, name)
        for level_db in (60.0, 80.0):
            power = heard.line_power * 10 ** (level_db / 10) / heard.line_power.sum()
            specific, sone = specific_loudness(third_octave_db(power))
            samples = take.samples.mean(axis=0)
            pascals = samples * 2e-5 * 10 ** (level_db / 20) / np.sqrt(np.mean(samples**2))
            theirs, their_specific, _ = loudness_zwst(pascals, take.sample_rate_hz)
            loud.append(float(sone / theirs - 1))
            acum = sharpness_din_from_loudness(theirs, their_specific)
            sharp.append(float(sharpness(specific) / acum - 1))
    source = "mosqito, a sound quality package"
    return [
        Row(source, "loudness of the bundled takes: relative error", len(loud),
            float(np.abs(loud).max()), 0.05, ""),
        Row(source, "sharpness of the bundled takes: relative error", len(sharp),
            float(np.abs(sharp).max()), 0.05, ""),
    ]  # fmt: skip


def resonant_db(hz: float, quality: float) -> Array:
    """Third octaves of white noise of 70 dB through a second-order resonance."""
    asked = np.geomspace(20.0, 16_000.0, 6000)
    s = 1j * asked / hz
    power = np.square(np.abs(1.0 / (1.0 + s / quality + s * s))) * np.gradient(asked)
    return np.asarray(70.0 + 10 * np.log10(power @ filter_powers(asked) / power.sum()))


def just_told_apart() -> list[Row]:
    """What blind listeners could just tell apart is just noticed here: 1 dB in a band.

    The just noticeable change of a second-order resonance is 0.079 F / sqrt(Q), over F of
    300 to 2000 Hz and Q of 1 to 36; the largest difference in any band describes it best.
    """
    largest = []
    for hz in (500.0, 1000.0, 2000.0):
        for quality in (1.0, 4.0, 16.0):
            moved = resonant_db(hz * (1.0 + 0.079 / np.sqrt(quality)), quality)
            found = change(moved, sound(resonant_db(hz, quality)))
            largest.append(float(found.largest_db))
    source = "Gagné and Zurek, J. Acoust. Soc. Am. 83, 1988: blind listening (its abstract)"
    about = "resonances that could just be told apart: largest change in a band, distance from 1 dB"
    return [
        Row(source, f"{about}: median", 9, abs(float(np.median(largest)) - 1.0), 0.35, "dB"),
        Row(source, f"{about}: worst", 9, float(np.abs(np.array(largest) - 1.0).max()), 0.7, "dB"),
    ]
