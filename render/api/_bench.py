"""At the bench: what to solder, what a coil measures, and whether the finished guitar fits."""

from collections.abc import Iterable, Mapping

import numpy as np

from presolder._asked import (
    DesignLike,
    Numbers,
    RigLike,
    asked_design,
    asked_ear,
    asked_rig,
)
from presolder.models.audio.take import sounding
from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import Load, require_dial
from presolder.models.instrument.player import Playing
from presolder.models.judging.ear import LISTENING_LEVEL_DB
from presolder.models.judging.merit import merit
from presolder.models.judging.ranking import first_choice
from presolder.models.measuring.coil import (
    Response,
)
from presolder.models.measuring.coil import (
    coil_from_readings as solve_readings,
)
from presolder.models.measuring.coil import (
    coil_from_responses as fit_responses,
)
from presolder.models.measuring.sine_sweep import swept_response
from presolder.models.measuring.third_octaves import spectrum
from presolder.models.measuring.verify import verify as compare_takes
from presolder.render.files.audio import Recording
from presolder.render.report.pickup import PickupReport
from presolder.render.report.sheet import Sheet
from presolder.render.report.verify import VerifyReport

METER = Load(1e6)


def sheet(
    rig: RigLike,
    design: DesignLike | None = None,
    *,
    plays: Playing | None = None,
    dials: Numbers | None = None,
    take: Recording | None = None,
    listening_level: float = LISTENING_LEVEL_DB,
    tone_weight: float | None = None,
    speaker: str | None = None,
    workshop: str = "",
) -> Sheet:
    """Say which parts to order and what to solder where.

    Parameters
    ----------
    rig : Rig or str
    design : Design or str, optional
        By default the one that `compare` ranks first of the built-in ones; that may
        be the bare pot, and then there is nothing to order.
    plays, dials, take, listening_level, tone_weight, speaker
        Under which conditions it is judged, as for `compare`.
    workshop : str
        Who made the sheet.

    Returns
    -------
    Sheet
        ``page()`` is one side of A4 as HTML; prints as text. Unplug the
        guitar before soldering, and mind the cautions on it.

    Raises
    ------
    InputError
        If the rig or design cannot be used.

    Notes
    -----
    E series after IEC 60063; tolerances and cautions are common practice, no
    source.

    Examples
    --------
    >>> import presolder as ps
    >>> print(ps.sheet("humbucker-500k", "68k + 1n5").lines()[0])
    68k + 1n5  (for humbucker, 500k audio volume, 5.5 m cable, 1M input)
    """
    found = asked_rig(rig)
    ear = asked_ear(found, plays, dials, take, listening_level, tone_weight, speaker)
    if design is None:
        best = first_choice(ear)
        return Sheet(ear, best.design, best.figures, workshop, chosen=True)
    chosen = asked_design(design, found)
    return Sheet(ear, chosen, merit(ear, chosen.network), workshop)


def coil_from_readings(
    resistance_ohms: float,
    bare_hz: float,
    loaded_hz: float,
    added_farads: float,
    meter: Load = METER,
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
    4.47
    """
    return PickupReport(solve_readings(resistance_ohms, bare_hz, loaded_hz, added_farads, meter))


def coil_from_responses(
    resistance_ohms: float, responses: Iterable[Response], meter: Load = METER
) -> PickupReport:
    """Find a pickup's values from measured responses of its output.

    Parameters
    ----------
    resistance_ohms : float
        Winding resistance.
    responses : iterable of Response
        Frequencies in Hz and gains in dB, with what capacitor was added.
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
    Nonlinear least squares (Bates and Watts, Nonlinear Regression Analysis).

    Examples
    --------
    >>> import numpy as np, presolder as ps
    >>> hz = np.geomspace(100, 16_000, 60)
    >>> flat = ps.Response(hz, np.zeros(60) - 10 * np.log10(1 + (hz / 4000) ** 8), 470e-12)
    >>> ps.coil_from_responses(8000, [flat]).responses
    1
    """
    given = tuple(responses)
    return PickupReport(fit_responses(resistance_ohms, given, meter), len(given))


def response_from_sweep(
    played: Recording, recorded: Recording, added_farads: float = 0.0, *, rising: bool = True
) -> Response:
    """A coil's response from a sweep as played and as recorded.

    Parameters
    ----------
    played, recorded : Recording
        Of one sample rate; the recording may start late.
    added_farads : float
        The known capacitor that was across the pickup.
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
    return Response(hz, gain_db - 20 * np.log10(hz) if rising else gain_db, added_farads)


def verify(
    rig: RigLike, takes: Mapping[float, Recording], design: DesignLike = "bare"
) -> VerifyReport:
    """Compare takes of a finished guitar at several dials with the prediction.

    Parameters
    ----------
    rig : Rig or str
        As described before it was built; its ``[take]`` says into what the
        takes were recorded.
    takes : mapping of float to Recording
        By dial, above 0: the same phrase, played alike. Silence at either end
        is left out; sample rates may differ.
    design : Design or str
        What was fitted. The rig's ``[take]`` says what was fitted before.

    Returns
    -------
    VerifyReport
        ``found.verdict``, and the faults that the takes do not reject.

    Raises
    ------
    InputError
        If a take or dial cannot be used.

    Notes
    -----
    Third octaves of IEC 61260-1 by Welch's method; misfit as chi-squared,
    rivals by likelihood ratio.

    Examples
    --------
    >>> import presolder as ps
    >>> takes = {10: ps.read("at-10.wav"), 6: ps.read("at-6.wav")}  # doctest: +SKIP
    >>> print(ps.verify("my-guitar.toml", takes, "68k + 1n5"))  # doctest: +SKIP
    """
    found = asked_rig(rig)
    chosen = asked_design(design, found)
    spectra = []
    for dial, take in takes.items():
        require_dial("dial", float(dial))
        if dial == 0:
            raise InputError("dial 0 is silent")
        with place(take.name):
            heard = sounding(take.samples, take.sample_rate_hz)
            spectra.append(spectrum(heard.mean(axis=0), take.sample_rate_hz))
    dials = np.array([float(dial) for dial in takes])
    findings = compare_takes(
        found.as_recorded, chosen.network, dials, spectra, old=found.take.network
    )
    return VerifyReport(found, chosen, findings)
