"""From cheap instruments to values: pickups, and whole rigs at the jack."""

import math
from collections.abc import Iterable

import numpy as np

from presolder._asked import RigLike, asked_rig
from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import Load
from presolder.models.measuring.coil import Impedance, Response
from presolder.models.measuring.coil import coil_from_readings as solve_readings
from presolder.models.measuring.coil_fit import coil_from_impedance as fit_impedance
from presolder.models.measuring.coil_fit import coil_from_responses as fit_responses
from presolder.models.measuring.coil_fit import rig_from_responses as fit_rig
from presolder.models.measuring.sine_sweep import swept_response
from presolder.render.files.audio import Recording
from presolder.render.report.pickup import PickupReport

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
    the form of the coil by Schwarz's criterion.

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


def rig_from_responses(rig: RigLike, responses: Iterable[Response]) -> PickupReport:
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
    found = fit_rig(asked_rig(rig), given)
    return PickupReport(found.coil, len(given), found.rig)


def response_from_sweep(
    played: Recording,
    recorded: Recording,
    added_farads: float = 0.0,
    added_ohms: float = math.inf,
    *,
    rising: bool = True,
) -> Response:
    """A coil's response from a sweep as played and as recorded.

    Parameters
    ----------
    played, recorded : Recording
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
    if recorded.sample_rate_hz != played.sample_rate_hz:
        raise InputError(
            f"{recorded.name}: sample rate {recorded.sample_rate_hz} differs from that of"
            f" {played.name}, {played.sample_rate_hz}"
        )
    with place(recorded.name):
        hz, gain_db = swept_response(played.samples[0], recorded.samples[0], played.sample_rate_hz)
    gain_db = gain_db - 20 * np.log10(hz) if rising else gain_db
    return Response(hz, gain_db, added_farads, added_ohms)
