"""The moving knob by an independent integration, its equations written out by hand."""

import numpy as np
import scipy.integrate
import scipy.signal

from presolder.models.audio.knob import KnobPath
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.render.files.rig_file import find_rig
from presolder.render.files.take import Take
from rendering import Array, rendered, rms
from rigs import as_string_take

FINE = 64  # the reference sees the audio at this many times its rate


def integrated(
    rig: Rig, series_ohms: float, shunt_ohms: float, farads: float, emf: Array, rate: int
) -> Array:
    """The chain with ``series_ohms + (shunt_ohms || farads)``, by LSODA from scipy.

    Written out by hand: states are coil current, voltage at the input lug, at
    the output, on the tone capacitor and on the bypass capacitor; the knob
    turns from 10 to 0 over the whole length. Track sections have a 1 ohm floor.
    """
    tone = rig.first.tone
    assert tone is not None
    assert rig.first.pickup.eddy_ohms is not None
    fine = scipy.signal.resample(emf, emf.size * FINE)
    total_s = emf.size / rate
    r, henries, eddy = (
        rig.first.pickup.resistance_ohms,
        rig.first.pickup.inductance_henries,
        rig.first.pickup.eddy_ohms,
    )
    c_in, c_out = (
        rig.first.pickup.capacitance_farads,
        rig.cable_farads + rig.load.capacitance_farads,
    )
    pot, m = rig.first.volume.resistance_ohms, rig.first.volume.taper.midpoint
    base = (1 / m - 1) ** 2

    def slope(t: float, state: Array) -> list[float]:
        position = min(t * rate * FINE, fine.size - 2.0)
        i = int(position)
        u = fine[i] + (position - i) * (fine[i + 1] - fine[i])
        below = (base ** (1 - t / total_s) - 1) / (base - 1)
        upper, lower = max(pot * (1 - below), 1.0), max(pot * below, 1.0)
        coil, lug, out, tone_v, bypass_v = state
        # Coil and eddy resistor in parallel, winding resistance before both:
        # u - r (coil + v/eddy) - v = lug, where v is the voltage across the coil.
        across = (u - r * coil - lug) / (1 + r / eddy)
        into_lug = coil + across / eddy
        tone_i = (lug - tone_v) / tone.pot.resistance_ohms
        bypass_i = (lug - out - bypass_v) / series_ohms
        through = (lug - out) / upper + bypass_i
        return [
            across / henries,
            (into_lug - tone_i - through) / c_in,
            (through - out / lower - out / rig.load.resistance_ohms) / c_out,
            tone_i / tone.capacitance_farads,
            (bypass_i - bypass_v / shunt_ohms) / farads,
        ]

    times = np.arange(emf.size) / rate
    # Tolerances: output differs by less than -100 dB from a run at a tenth of them.
    solution = scipy.integrate.odeint(
        slope, np.zeros(5), times, tfirst=True, rtol=1e-7, atol=1e-9, mxstep=10_000
    )
    return np.asarray(solution[:, 2])


def sweep_error_db(take: Take) -> float:
    """Relative RMS difference of a 1 s sweep 10 to 0 of real audio from LSODA's."""
    rig = find_rig("humbucker-500k")
    rate = take.sample_rate_hz
    start = int(0.5 * rate)
    emf = take.samples[0, start : start + rate] * np.hanning(rate) ** 0.1
    design = Design("d", parse_expression("33k + (470k || 560p)"))
    reference = integrated(rig, 33e3, 470e3, 560e-12, emf, rate)
    path = KnobPath((0.0, 1.0), (10.0, 0.0))
    output = rendered(emf, rate, as_string_take(rig), (design,), path)[0, 0]
    return float(20 * np.log10(rms(output - reference) / rms(reference)))
