"""Whether a finished guitar does what was predicted, and if not, which one part explains it.

Takes of the same phrase at several dials are compared band by band. What the
player plays is unknown but the same in all takes, save for a level that wobbles a
little between takes and a smaller wobble of each band.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.network import Capacitor, Network, leaves, with_parts
from presolder.models.instrument.quantities import format_code
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.taper import BENT_TAPERS
from presolder.models.judging.tolerance import Spread
from presolder.models.measuring.third_octaves import BAND_HZ, Spectrum, band_gain_db, usable
from presolder.models.typing import Array

Fit = Literal["fits", "explained", "undecided", "unexplained"]
# Standard deviations of a phrase played again; common practice, no source.
LEVEL_WOBBLE_DB, BAND_WOBBLE_DB = 1.0, 0.7
# A fit is doubted when chance would be this far off once in a hundred times,
# and not believed when once in ten thousand.
_DOUBT, _DISBELIEF = 0.99, 0.9999
# A cause is taken up when it makes the takes e^6 = 400 times likelier, and is out
# of the usual spread of parts.
_SIGNIFICANT_CHI2 = 12.0
# Two causes are told apart when one makes the takes e^4.5 = 90 times likelier.
CLEAR_CHI2 = 9.0
_CANDIDATE_DIALS = np.arange(1.0, 10.0)
_MODEL_HZ = np.geomspace(140.0, 7200.0, 48)
_MIDPOINTS = (0.02, 0.6)
_FACTOR = 10.0


@dataclass(frozen=True, eq=False)
class Cause:
    """A parameter, with the value that explains the takes best.

    Attributes
    ----------
    name : str
        ``cable``, ``taper midpoint``, or a capacitor's code such as ``150p``.
    kind : {"cable", "midpoint", "capacitor"}
    nominal, value : float
        As described, and as found: farads, or a fraction.
    chi2 : float
        Misfit of all takes with that value.
    """

    name: str
    kind: Literal["cable", "midpoint", "capacitor"]
    nominal: float
    value: float
    chi2: float


@dataclass(frozen=True, eq=False)
class Findings:
    """What the takes say: t takes, b bands.

    Attributes
    ----------
    verdict : {"fits", "explained", "undecided", "unexplained"}
        Fits the prediction; one cause explains what does not; several do, and
        these takes cannot tell them apart; or none does.
    dial : ndarray, shape (t,)
        From high to low.
    measured_db, predicted_db : ndarray, shape (t, b)
        Band levels against those of the first take; NaN in unusable bands.
    chi2, doubt_chi2 : float
        Misfit of the prediction, and from where it is doubted.
    causes : tuple of Cause
        Best first.
    rivals : int
        How many of them cannot be told from the best one (itself included).
    ask_dial : float or None
        The dial at which one more take would tell the two best apart, or show
        what is unseen, if any would.
    unseen : tuple of str
        Parameters that may be wrong by half (a capacitor or cable twice as
        large, a midpoint 0.1 off) without these takes showing it.
    """

    verdict: Fit
    dial: Array
    measured_db: Array
    predicted_db: Array
    chi2: float
    doubt_chi2: float
    causes: tuple[Cause, ...]
    rivals: int
    ask_dial: float | None
    unseen: tuple[str, ...]


def verify(rig: Rig, network: Network | None, dial: Array, spectra: list[Spectrum]) -> Findings:
    """Compare takes with the prediction.

    Parameters
    ----------
    rig : Rig
        The instrument into the recording input (see `Rig.as_recorded`).
    network : Network or None
        The bypass that was fitted.
    dial : ndarray, shape (t,)
        Where the volume stood, above 0, all different.
    spectra : list of Spectrum
        Of each take.

    Returns
    -------
    Findings

    Raises
    ------
    InputError
        If there are fewer than two takes, or too few usable bands.
    """
    if dial.size < 2:
        raise InputError("one take tells nothing; at least two dials are needed")
    order = np.argsort(-dial)
    dial, spectra = dial[order], [spectra[i] for i in order]
    bands = usable(spectra)
    if bands.sum() < 6:
        raise InputError("fewer than 6 third-octave bands stand out of the noise in every take")
    levels = np.array([one.band_db for one in spectra])
    measured = levels - levels[0]
    predicted = _prediction(spectra[0], bands)

    def misfit(some: Rig, with_network: Network | None) -> float:
        return chi2_of(measured[:, bands] - predicted(some, with_network, dial))

    plain = misfit(rig, network)
    freedom = (dial.size - 1) * int(bands.sum())
    doubt = float(scipy.stats.chi2.ppf(_DOUBT, freedom))
    disbelief = float(scipy.stats.chi2.ppf(_DISBELIEF, freedom - 1))
    expected = np.full_like(measured, np.nan)
    expected[:, bands] = predicted(rig, network, dial)
    causes = tuple(sorted(_causes(rig, network, misfit), key=lambda cause: cause.chi2))
    rivals = sum(cause.chi2 - causes[0].chi2 < CLEAR_CHI2 for cause in causes)
    blind = [
        cause
        for cause in _faulty(rig, network)
        if chi2_of(predicted(*changed(rig, network, cause), dial) - expected[:, bands])
        < _SIGNIFICANT_CHI2
    ]
    verdict = _verdict(plain, doubt, disbelief, causes[0], rivals)
    asked = causes[:2] if verdict == "undecided" else ()
    if verdict == "fits" and blind:
        asked = (blind[0], _as_described(blind[0]))
    ask = _telling_dial(rig, network, asked, dial, predicted) if asked else None
    return Findings(
        verdict, dial, np.where(bands, measured, np.nan), expected, plain, doubt, causes, rivals,
        ask, tuple(cause.name for cause in blind),
    )  # fmt: skip


def _prediction(
    reference: Spectrum, bands: NDArray[np.bool_]
) -> Callable[[Rig, Network | None, Array], Array]:
    """What a guitar's usable bands do over dials, against the first of them."""

    def predicted(some: Rig, with_network: Network | None, at: Array) -> Array:
        gain_db = decibels(transfer(chain_equations(some, with_network), _MODEL_HZ, at))
        return band_gain_db(reference, _MODEL_HZ, gain_db - gain_db[0])[:, bands]

    return predicted


def _verdict(
    plain_chi2: float, doubt_chi2: float, disbelief_chi2: float, best: Cause, rivals: int
) -> Fit:
    if _fits(plain_chi2, doubt_chi2, best):
        return "fits"
    if best.chi2 > disbelief_chi2:
        return "unexplained"
    return "explained" if rivals == 1 else "undecided"


def _as_described(cause: Cause) -> Cause:
    return replace(cause, value=cause.nominal)


def _faulty(rig: Rig, network: Network | None) -> list[Cause]:
    """Every suspect with a fault that a technician would want to know of."""
    return [
        replace(
            cause,
            value=cause.nominal + 0.1 if cause.kind == "midpoint" else 2.0 * cause.nominal,
        )
        for cause, _, _ in suspects(rig, network)
    ]


def _fits(plain_chi2: float, doubt_chi2: float, best: Cause) -> bool:
    """Nothing to explain, or nothing that the usual spread of parts does not."""
    if plain_chi2 - best.chi2 < _SIGNIFICANT_CHI2:
        return plain_chi2 <= doubt_chi2
    return within_spread(best) and best.chi2 <= doubt_chi2


def within_spread(cause: Cause) -> bool:
    """Whether a cause's value is one that parts have anyway."""
    usual = Spread()
    if cause.kind == "midpoint":
        return abs(cause.value - cause.nominal) <= usual.midpoint
    spread = usual.cable if cause.kind == "cable" else usual.capacitor
    return abs(cause.value / cause.nominal - 1.0) <= spread


def chi2_of(residual_db: Array) -> float:
    """Misfit of residuals, shape (takes, bands), under the wobble of playing.

    The unknown spectrum of the phrase takes up each band's mean over the
    takes. What is left of a take falls into its mean over the bands, which
    wobbles with the level and the bands, and the rest, which wobbles with the
    bands alone.
    """
    band_count = residual_db.shape[1]
    centred = residual_db - residual_db.mean(axis=0)
    level = centred.mean(axis=1, keepdims=True)
    shape = np.square((centred - level) / BAND_WOBBLE_DB).sum()
    level_variance = LEVEL_WOBBLE_DB**2 + BAND_WOBBLE_DB**2 / band_count
    return float(shape + np.square(level).sum() / level_variance)


def changed(rig: Rig, network: Network | None, cause: Cause) -> tuple[Rig, Network | None]:
    """The rig and bypass with a cause's value in place."""
    if cause.kind == "cable":
        return replace(rig, cable_farads=cause.value), network
    if cause.kind == "midpoint":
        volume = rig.first.volume
        bent = replace(volume, taper=replace(volume.taper, midpoint=cause.value))
        return rig.with_first(replace(rig.first, volume=bent)), network
    assert network is not None
    swapped = False
    parts = []
    for leaf in leaves(network):
        this = isinstance(leaf, Capacitor) and leaf.farads == cause.nominal and not swapped
        swapped = swapped or this
        parts.append(Capacitor(cause.value) if this else leaf)
    return rig, with_parts(network, tuple(parts))


def suspects(rig: Rig, network: Network | None) -> tuple[tuple[Cause, float, float], ...]:
    """The parameters that may be to blame, each with the range to look in."""
    found: list[tuple[Cause, float, float]] = []
    cable = rig.cable_farads
    if cable > 0:
        found.append((Cause("cable", "cable", cable, cable, 0.0), cable / _FACTOR, cable * _FACTOR))
    taper = rig.first.volume.taper
    if taper.kind in BENT_TAPERS:
        bend = taper.midpoint
        found.append((Cause("taper midpoint", "midpoint", bend, bend, 0.0), *_MIDPOINTS))
    for farads in {leaf.farads for leaf in leaves(network) if isinstance(leaf, Capacitor)}:
        cause = Cause(format_code(farads, "farad"), "capacitor", farads, farads, 0.0)
        found.append((cause, farads / _FACTOR, farads * _FACTOR))
    return tuple(found)


def _causes(
    rig: Rig, network: Network | None, misfit: Callable[[Rig, Network | None], float]
) -> list[Cause]:
    results = []
    for cause, low, high in suspects(rig, network):

        def chi2(log_value: float, cause: Cause = cause) -> float:
            return misfit(*changed(rig, network, replace(cause, value=float(np.exp(log_value)))))

        grid = np.linspace(np.log(low), np.log(high), 15)
        values = [chi2(float(point)) for point in grid]
        near = int(np.argmin(values))
        bounds = (grid[max(near - 1, 0)], grid[min(near + 1, grid.size - 1)])
        best = scipy.optimize.minimize_scalar(
            chi2, bounds=bounds, method="bounded", options={"xatol": 1e-3}
        )
        results.append(replace(cause, value=float(np.exp(best.x)), chi2=float(best.fun)))
    return results


def _telling_dial(
    rig: Rig,
    network: Network | None,
    pair: tuple[Cause, ...],
    dial: Array,
    predicted: Callable[[Rig, Network | None, Array], Array],
) -> float | None:
    """The dial at which the two best causes would differ most, if clearly."""
    free = [float(d) for d in _CANDIDATE_DIALS if np.abs(dial - d).min() >= 1.0]
    telling = []
    for candidate in free:
        at = np.append(dial, candidate)
        first, second = (predicted(*changed(rig, network, cause), at) for cause in pair)
        telling.append(chi2_of(first - second))
    if not telling or max(telling) < CLEAR_CHI2:
        return None
    return free[int(np.argmax(telling))]


def in_figures(levels_db: Array) -> tuple[Array, Array]:
    """Level (bands around 500 Hz) and treble (2-4 kHz less level) of band levels.

    Parameters
    ----------
    levels_db : ndarray, shape (t, b)
        NaN where unusable.

    Returns
    -------
    level_db, treble_db : ndarray, shape (t,)
    """
    body = (BAND_HZ > 390.0) & (BAND_HZ < 640.0)
    treble = (BAND_HZ > 1990.0) & (BAND_HZ < 4100.0)
    level = np.nanmean(levels_db[:, body], axis=1)
    return level, np.nanmean(levels_db[:, treble], axis=1) - level
