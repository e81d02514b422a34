"""From cheap instruments to values: pickups, pots, cables, and whole rigs at the jack."""

import math
from collections.abc import Iterable, Mapping

import numpy as np

from presolder._asked import (
    DesignLike,
    Progress,
    RigLike,
    TakeLike,
    asked_design,
    asked_rig,
    asked_take,
    counted,
)
from presolder.models.circuit.ohms import direct_ohms
from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import Load
from presolder.models.instrument.rig import VolumeWiring
from presolder.models.measuring.coil import Impedance, Response
from presolder.models.measuring.coil import coil_from_readings as solve_readings
from presolder.models.measuring.coil_fit import FITS
from presolder.models.measuring.coil_fit import coil_from_impedance as fit_impedance
from presolder.models.measuring.coil_fit import coil_from_responses as fit_responses
from presolder.models.measuring.coil_fit import rig_from_responses as fit_rig
from presolder.models.measuring.jack import CableKind, Hung, Resonance
from presolder.models.measuring.jack import cable_by_length as find_by_length
from presolder.models.measuring.jack import cable_from_readings as solve_cable
from presolder.models.measuring.jack import cable_from_responses as fit_cable
from presolder.models.measuring.sine_sweep import swept_response
from presolder.models.measuring.track import track_at_jack, track_at_lugs
from presolder.models.typing import Array
from presolder.render.files.rig_file import DEFAULT_RIG, find_rig
from presolder.render.report.cable import CableReport
from presolder.render.report.pickup import PickupReport
from presolder.render.report.taper import TaperReport

METER = Load(1e6)


def coil_from_readings(
    resistance_ohms: float,
    bare_hz: float,
    loaded_hz: float,
    added_farads: float,
    meter: Load = METER,
    *,
    rising: bool = True,
) -> PickupReport:
    """Find a pickup's inductance and capacitance from two resonance readings.

    Parameters
    ----------
    resistance_ohms : float
        Winding resistance.
    bare_hz, loaded_hz : float
        Frequency of the highest output, without and with the capacitor.
    added_farads : float
        The known capacitor across the pickup.
    meter : Load
        What measures; by default 1 megohm.
    rising : bool
        Whether the EMF rises with frequency, as from a small exciter coil over
        the pickup.

    Returns
    -------
    PickupReport
        ``coil.pickup`` in ohms, henries and farads.

    Raises
    ------
    InputError
        If no coil has these readings.

    Notes
    -----
    The peak of a damped resonance, solved for both readings at once.

    Examples
    --------
    >>> import presolder as ps
    >>> report = ps.coil_from_readings(8000, 6000, 3000, 470e-12)
    >>> round(report.coil.pickup.inductance_henries, 2)
    4.53
    """
    coil = solve_readings(resistance_ohms, bare_hz, loaded_hz, added_farads, meter, rising=rising)
    return PickupReport(coil)


def coil_from_responses(
    resistance_ohms: float, responses: Iterable[Response], meter: Load = METER
) -> PickupReport:
    """Find a pickup's values from measured responses of its output.

    Parameters
    ----------
    resistance_ohms : float
        Winding resistance, by ohmmeter.
    responses : iterable of Response
        Frequencies in Hz and gains in dB, with what load was added. Of several,
        what drove the pickup drops out; of one, it must have been flat.
    meter : Load
        What measured; by default 1 megohm.

    Returns
    -------
    PickupReport

    Raises
    ------
    InputError
        If there are too few points.

    Notes
    -----
    Nonlinear least squares (Bates and Watts, Nonlinear Regression Analysis);
    the form of the coil by Schwarz's criterion; two coils in series, `coil.second`,
    where no one coil fits.

    Examples
    --------
    >>> import numpy as np, presolder as ps
    >>> hz = np.geomspace(100, 16_000, 60)
    >>> flat = ps.Response(hz, np.zeros(60) - 10 * np.log10(1 + (hz / 4000) ** 8), 470e-12)
    >>> ps.coil_from_responses(8000, [flat]).responses
    1
    """
    given = tuple(responses)
    if not given:
        raise InputError("no responses are given; at least one is needed")
    return PickupReport(fit_responses(resistance_ohms, given, meter), len(given))


def coil_from_impedance(
    resistance_ohms: float, impedance: Impedance, meter: Load | None = None
) -> PickupReport:
    """Find a pickup's values from its impedance, magnitude and phase over frequency.

    Parameters
    ----------
    resistance_ohms : float
        Winding resistance, by ohmmeter.
    impedance : Impedance
        Frequencies in Hz, ohms and degrees.
    meter : Load, optional
        What lies across the pickup besides; by default nothing.

    Returns
    -------
    PickupReport

    Raises
    ------
    InputError
        If the measurement cannot be used.

    Notes
    -----
    As `coil_from_responses`, on the logarithm of the complex impedance.

    Examples
    --------
    >>> import numpy as np, presolder as ps
    >>> hz = np.geomspace(100, 16_000, 60)
    >>> s = 2j * np.pi * hz
    >>> z = 1 / (1 / (8000 + 4.0 * s) + 120e-12 * s)
    >>> measured = ps.Impedance(hz, np.abs(z), np.degrees(np.angle(z)))
    >>> round(ps.coil_from_impedance(8000, measured).coil.pickup.inductance_henries, 3)
    4.0
    """
    across = Load() if meter is None else meter
    return PickupReport(fit_impedance(resistance_ohms, impedance, across), 1)


def rig_from_responses(
    rig: RigLike, responses: Iterable[Response], *, progress: Progress | None = None
) -> PickupReport:
    """Find a pickup's values with its controls connected, from responses at the jack.

    Parameters
    ----------
    rig : Rig or str
        As described, its pickup's winding resistance measured; its cable and
        input are those of the measurement.
    responses : iterable of Response
        As for `coil_from_responses`, each with its dial; what is added hangs on
        the jack. Only a response at a lower dial tells the capacitances of
        cable and winding apart.
    progress : callable, optional
        Called with fits done since the last call, and about how many there are.

    Returns
    -------
    PickupReport
        ``rig`` has the pickup, and pots, tone capacitor and cable as they fit
        best within their usual spreads.

    Raises
    ------
    InputError
        If the rig or a response cannot be used.

    Notes
    -----
    As `coil_from_responses`, through the whole chain.

    Examples
    --------
    >>> import numpy as np, presolder as ps
    >>> rig, hz = ps.rig("humbucker-500k"), np.geomspace(100, 16_000, 60)
    >>> seen = ps.Response(hz, ps.response_db(rig, "bare", hz=hz, dial=10).ravel())
    >>> ps.rig_from_responses(rig, [seen]).responses
    1
    """
    given = tuple(responses)
    if not given:
        raise InputError("no responses are given; at least one is needed")
    found = fit_rig(asked_rig(rig), given, counted(progress, FITS))
    return PickupReport(found.coil, len(given), found.rig)


def response_from_sweep(
    played: TakeLike,
    recorded: TakeLike,
    added_farads: float = 0.0,
    added_ohms: float = math.inf,
    *,
    rising: bool = True,
) -> Response:
    """A coil's response from a sweep as played and as recorded.

    Parameters
    ----------
    played, recorded : Take, path, or array and rate
        Of one sample rate; the recording may start late.
    added_farads, added_ohms : float
        The known capacitor and resistor that were across the pickup.
    rising : bool
        Whether the EMF rose with frequency, as with a small exciter coil over
        the pickup; it is taken off then.

    Returns
    -------
    Response
        Frequencies in Hz and gains in dB.

    Raises
    ------
    InputError
        If the recording does not hold the sweep, or the rates differ.

    Notes
    -----
    Farina, "Simultaneous measurement of impulse response and distortion with a
    swept-sine technique", AES 108th Convention, 2000.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.response_from_sweep(ps.read("sweep.wav"), ps.read("heard.wav"))  # doctest: +SKIP
    """
    sent, heard = asked_take(played), asked_take(recorded)
    if heard.sample_rate_hz != sent.sample_rate_hz:
        raise InputError(
            f"{heard.name}: sample rate {heard.sample_rate_hz} differs from that of"
            f" {sent.name}, {sent.sample_rate_hz}"
        )
    with place(heard.name):
        hz, gain_db = swept_response(sent.samples[0], heard.samples[0], sent.sample_rate_hz)
    gain_db = gain_db - 20 * np.log10(hz) if rising else gain_db
    return Response(hz, gain_db, added_farads, added_ohms)


def taper_at_jack(
    ohms: Mapping[float, float],
    *,
    wiring: VolumeWiring = "lug",
    fitted: DesignLike = "bare",
    meter_error: float = 0.01,
) -> TaperReport:
    """Find a pot's track and taper, and the winding, from ohms at the closed guitar's jack.

    Parameters
    ----------
    ohms : mapping of float to float
        By dial, tip to sleeve, nothing plugged in and only one pickup on; at
        10, and best at each number above 0.
    wiring : {"lug", "independent"}
        Whether the pickup is at the volume pot's input lug or at its wiper.
    fitted : Design or str
        The bypass that is there.
    meter_error : float
        Of the ohmmeter, relative.

    Returns
    -------
    TaperReport
        ``track`` has ohms, fractions and errors.

    Raises
    ------
    InputError
        If the readings are too few, or not those of a pot.

    Notes
    -----
    The divider at direct current, solved by least squares; see `track_at_jack`
    in ``models/measuring/track.py``.

    Examples
    --------
    >>> import presolder as ps
    >>> track, winding = 500e3, 8e3
    >>> read = {d: d / 10 * track * ((1 - d / 10) * track + winding) / (track + winding)
    ...         for d in range(1, 11)}
    >>> ps.taper_at_jack(read).track.taper.kind
    'linear'
    """
    dial, read = _by_dial(ohms)
    network = asked_design(fitted, find_rig(DEFAULT_RIG)).network
    across = math.inf if network is None else direct_ohms(network)
    found = track_at_jack(dial, read, wiring=wiring, across_ohms=across, meter_error=meter_error)
    return TaperReport(found)


def taper_at_lugs(
    ohms: Mapping[float, float],
    second: Mapping[float, float] | None = None,
    *,
    meter_error: float = 0.01,
) -> TaperReport:
    """Find a pot's track and taper from ohms between its ground lug and its wiper lug.

    Parameters
    ----------
    ohms : mapping of float to float
        By dial, the leads off the lugs; at 10, and best at each number above 0.
    second : mapping of float to float, optional
        The same of a dual pot's other section.
    meter_error : float
        Of the ohmmeter, relative.

    Returns
    -------
    TaperReport

    Raises
    ------
    InputError
        If the readings are too few, or not those of a pot.

    Notes
    -----
    As `taper_at_jack`, without a winding.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.taper_at_lugs({2: 50e3, 4: 100e3, 6: 150e3, 8: 200e3, 10: 250e3}).track.taper.kind
    'linear'
    """
    found = track_at_lugs(*_by_dial(ohms), meter_error)
    other = None if second is None else track_at_lugs(*_by_dial(second), meter_error)
    return TaperReport(found, other)


def _by_dial(ohms: Mapping[float, float]) -> tuple[Array, Array]:
    """Dials and readings."""
    pairs = list(ohms.items())
    return np.array([float(dial) for dial, _ in pairs]), np.array([float(one) for _, one in pairs])


def cable_by_length(metres: float, kind: CableKind = "ordinary") -> CableReport:
    """Say what is typical of a cable of a length.

    Parameters
    ----------
    metres : float
    kind : {"ordinary", "low-capacitance", "coiled"}

    Returns
    -------
    CableReport

    Raises
    ------
    InputError
        If the length or kind cannot be used.

    Notes
    -----
    Picofarads a metre are common practice, no source.

    Examples
    --------
    >>> import presolder as ps
    >>> round(ps.cable_by_length(5).cable.farads * 1e12)
    550
    """
    return CableReport(find_by_length(metres, kind), measured=False)


def cable_from_readings(rig: RigLike, readings: Iterable[Resonance]) -> CableReport:
    """Find a cable's capacitance from resonances read at the guitar's jack.

    Parameters
    ----------
    rig : Rig or str
        The guitar, all knobs at 10, into the measuring input.
    readings : iterable of Resonance
        Frequencies in Hz of the highest output, with the cable, and with
        something known on the jack.

    Returns
    -------
    CableReport

    Raises
    ------
    InputError
        If the readings cannot tell.

    Notes
    -----
    Resonances go as 1 / sqrt(L C); the whole chain's peak is solved for.

    Examples
    --------
    >>> import presolder as ps
    >>> read = [ps.Resonance(3000, ps.Hung(True)), ps.Resonance(3100, ps.Hung(False, 470e-12))]
    >>> 450 < ps.cable_from_readings("humbucker-500k", read).cable.farads * 1e12 < 600
    True
    """
    found = asked_rig(rig)
    return CableReport(solve_cable(found, tuple(readings)), True, found.name)


def cable_from_responses(rig: RigLike, responses: Iterable[tuple[Response, Hung]]) -> CableReport:
    """Find a cable's capacitance from responses at the guitar's jack.

    Parameters
    ----------
    rig : Rig or str
        The guitar, all knobs at 10, into the measuring input.
    responses : iterable of (Response, Hung)
        With the cable, and with something known on the jack.

    Returns
    -------
    CableReport

    Raises
    ------
    InputError
        If the responses cannot tell.

    Notes
    -----
    As `coil_from_responses`, through the whole chain.

    Examples
    --------
    >>> import dataclasses, numpy as np, presolder as ps
    >>> rig, hz, hung = ps.rig("humbucker-500k"), np.geomspace(100, 16_000, 60), []
    >>> for farads in (500e-12, 300e-12):
    ...     made = dataclasses.replace(rig, cable_farads=farads)
    ...     hung.append(ps.Response(hz, ps.response_db(made, "bare", hz=hz, dial=10).ravel()))
    >>> given = zip(hung, (ps.Hung(True), ps.Hung(False, 300e-12)))
    >>> round(ps.cable_from_responses(rig, given).cable.farads * 1e12)
    500
    """
    found = asked_rig(rig)
    return CableReport(fit_cable(found, tuple(responses)), True, found.name)
