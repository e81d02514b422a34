"""A pickup's values from measured responses or impedances, by the model that they bear.

Two responses with different loads are fitted by their difference: what played
into the pickup, and how it rolled off, is the same in both and drops out.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import scipy

from presolder.models.circuit.assembly import assemble
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.coil import admittance, coil_responses, source_impedance
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup
from presolder.models.instrument.rig import Rig
from presolder.models.judging.tolerance import Spread, standard_deviation
from presolder.models.measuring.coil import (
    COIL_LIMITS,
    FEWEST_POINTS,
    HIGHEST_HZ,
    LOWEST_HZ,
    Coil,
    Impedance,
    Response,
    is_inside,
)
from presolder.models.measuring.fitting import Fit, fitted, half_width
from presolder.models.measuring.two_coils import ImpedanceMiss, fitted_pair
from presolder.models.typing import Array, ComplexArray

# From a pickup and relative errors of what is known, to what is left of a measurement in dB.
Miss = Callable[[Pickup, Array], Array]

_STARTS_HENRIES, _STARTS_EDDY_OHMS = (1.0, 3.0, 8.0), (5e4, 5e5)
_START_FARADS = 120e-12
_SHARES = np.linspace(0.0, 0.9, 10)
# Least-squares fits of a coil, by which progress is counted: from everywhere without eddy loss
# and with it, then on from share to share, and about eight between two shares.
FITS = len(_STARTS_HENRIES) * (1 + len(_STARTS_EDDY_OHMS)) + _SHARES.size - 1 + 8
# What a handheld meter says of resistors and capacitors, as a standard deviation:
# common practice, no source.
_METER_ERROR = 0.01
# Of the winding resistance, the added resistors and the added capacitors.
_KNOWN_ERRORS = np.full(3, _METER_ERROR)
_DB_PER_RADIAN = 20.0 / np.log(10.0)
# One coil that is off by more than this, RMS, does not fit where two are off by less than half.
_UNFIT_DB = 0.6


@dataclass(frozen=True, eq=False)
class _Tried:
    """A fit of one form of the coil: without eddy loss, or with a share of leakage."""

    fit: Fit
    share: float | None

    @property
    def free(self) -> int:
        """Number of the coil's values."""
        return 2 + (self.share is not None) + bool(self.share)


@dataclass(frozen=True, eq=False)
class FittedRig:
    """A rig whose values were fitted to measurements at its jack.

    Attributes
    ----------
    rig : Rig
    coil : Coil
        Of its first pickup.
    """

    rig: Rig
    coil: Coil


def coil_from_responses(
    resistance_ohms: float, responses: tuple[Response, ...], meter: Load
) -> Coil:
    """Inductance, capacitance and eddy loss that fit measured responses best.

    Parameters
    ----------
    resistance_ohms : float
        Winding resistance, by ohmmeter.
    responses : tuple of Response
        One, whose EMF is taken to be the same at all frequencies; or several
        with different loads, whose EMF may be whatever it was, if it was the
        same in all. Each has an unknown gain of its own.
    meter : Load
        What measured; it is there in all responses.

    Returns
    -------
    Coil

    Raises
    ------
    InputError
        If responses have too few points in common.

    Notes
    -----
    Least squares on the decibels. Of the forms without eddy loss, with it, and
    with leakage the one is chosen that the data bear (Schwarz, "Estimating the
    dimension of a model", Annals of Statistics 6, 1978); the errors stated are
    of all of them, weighted by their likelihood. Where none of them fits, and two
    coils in series do by half, it is those. Ohmmeter and added parts are
    taken to be right within a standard deviation of 1 %.
    """
    hz, measured = in_common(responses)

    def miss(pickup: Pickup, off: Array) -> Array:
        hung = [_together_with(meter, response, off) for response in responses]
        return differences(decibels(coil_responses(pickup, hz, hung)) - measured)

    found, _ = fitted_coil(miss, resistance_ohms, _KNOWN_ERRORS)
    found = replace(found, misfit_db=found.misfit_db * _between(responses))
    if len(responses) == 1:
        return found

    def miss_of(ohms: ComplexArray, off: Array) -> Array:
        hung = [_together_with(meter, response, off) for response in responses]
        left = np.array([-decibels(1.0 + ohms * admittance(load, hz)) for load in hung])
        return differences(left - measured)

    return _or_two(found, miss_of, hz, resistance_ohms, _KNOWN_ERRORS, _between(responses))


def coil_from_impedance(resistance_ohms: float, impedance: Impedance, meter: Load) -> Coil:
    """A pickup's values from its impedance over frequency.

    Parameters
    ----------
    resistance_ohms : float
        Winding resistance, by ohmmeter.
    impedance : Impedance
    meter : Load
        What lies across the pickup besides; infinite and 0 for nothing.

    Returns
    -------
    Coil

    Notes
    -----
    As `coil_from_responses`; magnitude in dB and phase, a radian for 8.7 dB,
    which is the same relative error.
    """
    inside = is_inside(impedance.frequency_hz)
    hz = impedance.frequency_hz[inside]
    measured = impedance.ohms[inside] * np.exp(1j * np.radians(impedance.degrees[inside]))

    def miss_of(ohms: ComplexArray, off: Array) -> Array:
        del off
        left = np.log(1.0 / (1.0 / ohms + admittance(meter, hz)) / measured)
        return np.asarray(np.concatenate([left.real, left.imag]) * _DB_PER_RADIAN)

    def miss(pickup: Pickup, off: Array) -> Array:
        return miss_of(source_impedance(pickup, hz), off)

    known = np.array([_METER_ERROR])
    found, _ = fitted_coil(miss, resistance_ohms, known)
    return _or_two(found, miss_of, hz, resistance_ohms, known, 1.0)


def _or_two(
    found: Coil,
    miss_of: ImpedanceMiss,
    hz: Array,
    resistance_ohms: float,
    known_errors: Array,
    between: float,
) -> Coil:
    """The coil that was found, or two in series where it does not fit and they do."""
    if found.misfit_db <= _UNFIT_DB:
        return found
    (first, second), fit = fitted_pair(miss_of, hz, resistance_ohms, known_errors)
    misfit_db = between * float(np.sqrt(fit.misfit / fit.points))
    if misfit_db > 0.5 * found.misfit_db:
        return found
    return Coil(first, np.inf, np.inf, misfit_db, second)


def rig_from_responses(
    rig: Rig, responses: tuple[Response, ...], progress: Callable[[int], None] = lambda _: None
) -> FittedRig:
    """A rig's pickup, its pots and cable with it, from responses at the jack.

    Parameters
    ----------
    rig : Rig
        As described, into the measuring input; the winding resistance of its
        pickup is taken as measured.
    responses : tuple of Response
        As for `coil_from_responses`, each with its dial; ``added_farads`` is
        what hung on the jack besides the rig's own cable, such as what a longer
        cable has more. At dial 10 cable and winding lie in parallel, so that
        only a response at a lower dial tells their capacitances apart.
    progress : callable
        Called with how many of `FITS` are done since the last call.

    Returns
    -------
    FittedRig
        Pots, tone capacitor and cable keep to what was described as far as
        usual spreads go; the pickup's values are free.

    Raises
    ------
    InputError
        If responses have too few points in common.
    """
    hz, measured = in_common(responses)
    usual = Spread()
    kinds = (usual.pot, usual.pot, usual.capacitor, usual.cable)
    spreads = np.array([standard_deviation(spread) for spread in kinds])

    def miss(pickup: Pickup, off: Array) -> Array:
        model = []
        for response in responses:
            built = _strayed(rig, off[3:])
            hung = _together_with(built.load, response, off)
            whole = built.with_first(replace(built.first, pickup=pickup)).feeding(hung)
            branches = control_chain(whole, None).branches
            model.append(decibels(transfer(assemble(branches), hz, response.dial)[0]))
        return differences(np.array(model) - measured)

    known = np.concatenate([_KNOWN_ERRORS, spreads])
    found, off = fitted_coil(miss, rig.coil.resistance_ohms, known, progress)
    coil = replace(found, misfit_db=found.misfit_db * _between(responses))
    built = _strayed(rig, off[3:])
    return FittedRig(built.with_first(replace(built.first, pickup=coil.pickup)), coil)


def _together_with(meter: Load, response: Response, off: Array) -> Load:
    """All that hung on the pickup; the added parts off by as much as given."""
    added = 1.0 / (response.added_ohms * (1.0 + off[1]))
    siemens = 1.0 / meter.resistance_ohms + added
    farads = meter.capacitance_farads + response.added_farads * (1.0 + off[2])
    return Load(np.inf if siemens == 0 else float(1.0 / siemens), float(farads))


def _strayed(rig: Rig, off: Array) -> Rig:
    """The rig with pots, tone capacitor and cable off by as much as given."""
    volume, tone, farads, cable = (float(max(1.0 + x, 0.1)) for x in off)
    pot = replace(rig.volume, resistance_ohms=rig.volume.resistance_ohms * volume)
    off_tone = rig.nearest_tone
    if off_tone is not None:
        tone_pot = replace(off_tone.pot, resistance_ohms=off_tone.pot.resistance_ohms * tone)
        capacitance_farads = off_tone.capacitance_farads * farads
        rig = rig.with_tone(replace(off_tone, pot=tone_pot, capacitance_farads=capacitance_farads))
    return replace(rig.with_volume(pot), cable_farads=rig.cable_farads * cable)


def in_common(responses: Sequence[Response]) -> tuple[Array, Array]:
    """Frequencies, shape (f,), and gains, shape (r, f), where all responses are known."""
    first = responses[0]
    low = max(LOWEST_HZ, *(float(one.frequency_hz[0]) for one in responses))
    high = min(HIGHEST_HZ, *(float(one.frequency_hz[-1]) for one in responses))
    hz = first.frequency_hz[(first.frequency_hz >= low) & (first.frequency_hz <= high)]
    if hz.size < FEWEST_POINTS:
        raise InputError(f"responses have fewer than {FEWEST_POINTS} frequencies in common")
    gains = [np.interp(np.log(hz), np.log(one.frequency_hz), one.gain_db) for one in responses]
    return hz, np.array(gains)


def differences(left: Array) -> Array:
    """Of one response all but its mean; of several what differs between them, but for means."""
    rows = left if len(left) == 1 else _contrasts(len(left)) @ left
    # A product with ones takes a quarter of the time of a mean, and fits ask thousands of times.
    means = rows @ np.full((rows.shape[1], 1), 1.0 / rows.shape[1])
    return np.ravel(rows - means)


@cache
def _contrasts(count: int) -> Array:
    """What differs between so many responses; asked for at each step of a fit."""
    return np.asarray(scipy.linalg.helmert(count), dtype=np.float64)


def _between(responses: Sequence[Response]) -> float:
    """From the RMS of `differences` to that of one response less another."""
    return float(np.sqrt(2.0)) if len(responses) > 1 else 1.0


def fitted_coil(
    miss: Miss,
    resistance_ohms: float,
    known_errors: Array,
    progress: Callable[[int], None] = lambda _: None,
) -> tuple[Coil, Array]:
    """The coil that fits best, in the form that the data bear.

    Parameters
    ----------
    miss : callable
        From a pickup and relative errors, shape (q,), to what is left, dB, shape (n,).
    resistance_ohms : float
    known_errors : ndarray, shape (q,)
        Standard deviations of what is known, the winding resistance first.
    progress : callable
        As for `rig_from_responses`.

    Returns
    -------
    coil : Coil
        Its misfit is the RMS of what `miss` gives.
    off : ndarray, shape (q,)
        What is known, as it fits best.
    """
    left = FITS

    def fit(share: float | None, starts: list[Array]) -> _Tried:
        nonlocal left
        found = _tried(miss, resistance_ohms, known_errors, share, starts)
        done = min(len(starts), left)
        left -= done
        progress(done)
        return found

    tried = [fit(None, _starts((None,), known_errors.size))]
    starts = _starts(_STARTS_EDDY_OHMS, known_errors.size)
    for share in _SHARES:
        tried.append(fit(float(share), starts))
        starts = [tried[-1].fit.values]
    noise_db = min(tried, key=lambda one: one.fit.misfit).fit.noise_db
    best = _borne_out(tried, noise_db)
    if best.share:
        best = _refined(fit, best, noise_db)
    progress(left)
    chi2 = np.array([one.fit.chi2(noise_db) for one in tried])
    weights = np.exp(-0.5 * (chi2 - chi2.min()))
    errors = [
        half_width(
            float(best.fit.values[i]),
            np.array([one.fit.values[i] for one in tried]),
            np.array([np.sqrt(one.fit.covariance[i, i]) + 1e-9 for one in tried]),
            weights / weights.sum(),
        )
        for i in (0, 1)
    ]
    pickup = _coil_of(resistance_ohms, best.fit.values, best.share)
    misfit_db = float(np.sqrt(best.fit.misfit / best.fit.points))
    coil = Coil(pickup, _relative(errors[0]), _relative(errors[1]), misfit_db)
    return coil, best.fit.values[2 + (best.share is not None) :]


def _relative(error: float) -> float:
    """From an error of a logarithm; infinite where it says nothing."""
    return float(np.expm1(error)) if error < 100.0 else float(np.inf)


def _borne_out(tried: list[_Tried], noise_db: float) -> _Tried:
    """The one that is likeliest for its number of values."""

    def criterion(one: _Tried) -> float:
        points = one.fit.points / one.fit.together
        return one.fit.chi2(noise_db) + one.free * float(np.log(max(points, 2.0)))

    return min(tried, key=criterion)


def _refined(fit: Callable[[float, list[Array]], _Tried], best: _Tried, noise_db: float) -> _Tried:
    """With the share of leakage between two of those tried."""
    step, share = float(_SHARES[1]), float(best.share or 0.0)
    answer = scipy.optimize.minimize_scalar(
        lambda s: fit(s, [best.fit.values]).fit.chi2(noise_db),
        bounds=(share - step, min(share + step, 0.99)),
        method="bounded",
        options={"xatol": 0.01},
    )
    return fit(float(answer.x), [best.fit.values])


def _tried(
    miss: Miss,
    resistance_ohms: float,
    known_errors: Array,
    share: float | None,
    starts: list[Array],
) -> _Tried:
    """Fit one form; from a fit of another share, or from everywhere."""
    free = 2 if share is None else 3

    def left(values: Array) -> Array:
        off = values[free:]
        return miss(_coil_of(resistance_ohms * (1.0 + off[0]), values, share), off)

    limits = np.log(COIL_LIMITS[:free])
    bounds = np.concatenate([limits, np.repeat([[-0.5, 0.5]], known_errors.size, axis=0)])
    expected = np.zeros(free + known_errors.size)
    spread = np.concatenate([np.full(free, np.inf), known_errors])
    return _Tried(fitted(left, starts, bounds, expected, spread), share)


def _starts(eddies: Sequence[float | None], known: int) -> list[Array]:
    """Where to look from, with so many known values as they are known."""
    return [
        np.append(np.log([one for one in (henries, _START_FARADS, eddy) if one]), np.zeros(known))
        for henries in _STARTS_HENRIES
        for eddy in eddies
    ]


def _coil_of(resistance_ohms: float, values: Array, share: float | None) -> Pickup:
    """The coil with these logarithms of inductance, capacitance and eddy resistance."""
    henries, farads = (float(value) for value in np.exp(values[:2]))
    if share is None:
        return Pickup(resistance_ohms, henries, farads)
    return Pickup(resistance_ohms, henries, farads, float(np.exp(values[2])), share * henries)
