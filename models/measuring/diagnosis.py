"""Whether a finished guitar does what was predicted, and if not, what may be wrong with it.

Takes of the same phrase at several dials are compared band by band with the
guitar as described, and with every fault of `faults`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from presolder.models.circuit.assembly import assemble
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels, power, power_decibels
from presolder.models.errors import InputError
from presolder.models.instrument.law import BENT_TAPERS
from presolder.models.instrument.network import (
    Network,
    leaves,
    with_parts,
)
from presolder.models.instrument.rig import Rig
from presolder.models.judging.tolerance import Spread, standard_deviation
from presolder.models.measuring.faults import (
    PLAUSIBILITY,
    Fault,
    Guitar,
    as_described,
    faults,
)
from presolder.models.measuring.telling import Reading, telling_dial, telling_reading
from presolder.models.measuring.third_octaves import (
    BAND_HZ,
    Spectrum,
    band_weights,
    chi_squared_at,
)
from presolder.models.measuring.wobble import Straying, Wobble
from presolder.models.typing import Array

Verdict = Literal["fits", "cannot tell", "one cause", "several causes", "unexplained"]
# The guitar as described is doubted when chance and ordinary parts would be this
# far off once in two hundred times, in any take by itself or in all together.
_DOUBT = 0.995
# No fault is believed that chance would be this far off from once in ten thousand times.
_DISBELIEF = 0.9999
# A fault is taken up when it makes the takes e^6 = 400 times likelier.
SIGNIFICANT_CHI2 = 12.0
# A rival is given up when the best fault makes the takes e^5 = 150 times likelier.
CLEAR_CHI2 = 10.0
_MODEL_HZ = np.geomspace(140.0, 7200.0, 72)
_TREBLE_HZ = 1900.0
_FEWEST_BANDS, _FEWEST_TREBLE_BANDS = 6, 3
# What all designs have in common is heard at 10 only: a take from about there is needed.
AT_TEN = 9.5


@dataclass(frozen=True, eq=False)
class Foretold:
    """What a guitar would do at some dials with every fault it may have.

    Attributes
    ----------
    dial : ndarray, shape (t,)
        From high to low.
    fault : tuple of Fault
    gain_db : tuple of ndarray, shape (v, t, f)
        For each fault and value, against the first dial, over ``_MODEL_HZ``.
    strayed_db : tuple of ndarray, shape (k, t, f)
        For each fault, the change for a standard deviation of each part.
    described_db : ndarray, shape (1, t, f)
    described_strayed_db : ndarray, shape (k, t, f)
    """

    dial: Array
    fault: tuple[Fault, ...]
    gain_db: tuple[Array, ...]
    strayed_db: tuple[Array, ...]
    described_db: Array
    described_strayed_db: Array


@dataclass(frozen=True, eq=False)
class Cause:
    """A fault, with the value that explains the takes best.

    Attributes
    ----------
    fault : Fault
    value : float
        The best one; the nominal one if there is nothing to vary.
    chi2 : float
        Misfit of all takes with it.
    left_db : ndarray, shape (t, b)
        What it leaves of each take's bands; NaN in unusable bands.
    """

    fault: Fault
    value: float
    chi2: float
    left_db: Array

    @property
    def text(self) -> str:
        """In words."""
        return self.fault.worded(self.value)

    @property
    def guitar(self) -> Guitar:
        """The guitar with it, at the nearest value that was tried."""
        fault = self.fault
        if not fault.values:
            return fault.guitars[0]
        return fault.guitars[int(np.argmin(np.abs(np.array(fault.values) - self.value)))]


@dataclass(frozen=True, eq=False)
class Findings:
    """What the takes say: t takes, b bands.

    Attributes
    ----------
    verdict : {"fits", "cannot tell", "one cause", "several causes", "unexplained"}
        Fits the prediction; or nothing speaks against it, but no take was made
        at 10, or noise hides what would; or one fault, or several, are not rejected by the
        takes; or all that were tried are.
    dial : ndarray, shape (t,)
        From high to low.
    measured_db, predicted_db : ndarray, shape (t, b)
        Band levels against those of the first take; NaN in unusable bands.
    chi2, doubt_chi2 : float
        Misfit of the prediction, and from where it is doubted.
    off : tuple of float
        Dials whose take by itself does not fit.
    causes : tuple of Cause
        Those that remain, most plausible first; empty if it fits.
    tried : tuple of Cause
        Every fault that was tried with its best value, the likeliest first.
    ask_ohms : Reading or None
        The ohmmeter reading that tells most of the remaining ones apart, if any does.
    ask_dial : float or None
        The dial at which one more take would tell the two of `in_question` apart.
    hidden : tuple of str
        Faults that these takes would show, were it not for their noise.
    unseen : tuple of str
        Faults that these takes do not tell from none; of a value its half and double.
    treble : bool
        Whether the takes have enough treble to judge by.
    highest_hz : float
        The highest band that stands out of the noise.
    """

    verdict: Verdict
    dial: Array
    measured_db: Array
    predicted_db: Array
    chi2: float
    doubt_chi2: float
    off: tuple[float, ...]
    causes: tuple[Cause, ...]
    tried: tuple[Cause, ...]
    ask_ohms: Reading | None
    ask_dial: float | None
    hidden: tuple[str, ...]
    unseen: tuple[str, ...]
    treble: bool
    highest_hz: float

    @property
    def nearest(self) -> Cause | None:
        """Of all that were tried, the likeliest."""
        return self.tried[0] if self.tried else None

    @property
    def in_question(self) -> tuple[Cause, Cause] | None:
        """The most plausible cause, and the next that is another thing to look at."""
        return _rivals(self.causes)


def verify(
    rig: Rig,
    network: Network | None,
    dial: Array,
    spectra: list[Spectrum],
    old: Network | None = None,
) -> Findings:
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
    old : Network or None
        The bypass that was there before.

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
    return judged(foretold(rig, network, dial[order], old), [spectra[i] for i in order])


def foretold(
    rig: Rig, network: Network | None, dial: Array, old: Network | None = None
) -> Foretold:
    """What every fault would do; everything that does not need the takes.

    Parameters
    ----------
    rig, network, old
        As for `verify`.
    dial : ndarray, shape (t,)
        From high to low.

    Returns
    -------
    Foretold
    """
    tried = faults(rig, network, old)
    plain = as_described(rig, network)
    described = _gain_db(plain, dial)[None]
    described_strayed = _strayed_db(plain, dial, described[0])
    gains, strayed = [], []
    for fault in tried:
        gain = np.array([_gain_db(guitar, dial) for guitar in fault.guitars])
        gains.append(gain)
        own = described_strayed if fault.values else _strayed_db(fault.guitars[0], dial, gain[0])
        strayed.append(own)
    return Foretold(dial, tried, tuple(gains), tuple(strayed), described, described_strayed)


def _gain_db(guitar: Guitar, dial: Array) -> Array:
    """Response against that at the first dial, shape (t, f)."""
    gain = decibels(transfer(assemble(guitar.chain().branches), _MODEL_HZ, dial))
    return np.asarray(gain - gain[0])


def _strayed_db(guitar: Guitar, dial: Array, nominal_db: Array) -> Array:
    return np.array([_gain_db(other, dial) - nominal_db for other in strayed_guitars(guitar)])


def strayed_guitars(guitar: Guitar) -> tuple[Guitar, ...]:
    """The guitar with one part after the other off by a standard deviation of its spread."""
    usual = Spread()
    rig, network = guitar.rig, guitar.network
    pot = rig.volume
    made = [replace(rig, cable_farads=rig.cable_farads * (1 + standard_deviation(usual.cable)))]
    made.append(
        _with_volume(rig, resistance_ohms=pot.resistance_ohms * (1 + standard_deviation(usual.pot)))
    )
    if pot.taper.kind in BENT_TAPERS:
        middle = min(pot.taper.midpoint + standard_deviation(usual.midpoint), 0.9)
        made.append(_with_volume(rig, taper=replace(pot.taper, midpoint=middle)))
    strayed = [replace(guitar, rig=one) for one in made]
    if network is None:
        return tuple(strayed)
    parts = leaves(network)
    for i, leaf in enumerate(parts):
        off = leaf.with_value(leaf.value * (1 + standard_deviation(usual.of(leaf))))
        changed = with_parts(network, (*parts[:i], off, *parts[i + 1 :]))
        strayed.append(replace(guitar, network=changed))
    return tuple(strayed)


def _with_volume(rig: Rig, **changes: object) -> Rig:
    return rig.with_volume(replace(rig.volume, **changes))  # type: ignore[arg-type]


def judged(told: Foretold, spectra: list[Spectrum]) -> Findings:
    """What takes say of the guitar, given what every fault would do.

    Parameters
    ----------
    told : Foretold
    spectra : list of Spectrum
        Of the takes, in the order of its dials.

    Returns
    -------
    Findings

    Raises
    ------
    InputError
        If too few bands are usable.
    """
    levels = np.array([one.signal_db for one in spectra])
    # What is played is unknown: a band tells something if two takes have it.
    levels[:, np.isfinite(levels).sum(axis=0) < 2] = np.nan
    seen = np.isfinite(levels)
    if seen.any(axis=0).sum() < _FEWEST_BANDS:
        raise InputError(
            "fewer than 6 third-octave bands stand out of the noise in two takes; play a phrase"
            " with pauses, since steady sound counts as noise"
        )
    noise = np.array([one.noise_db for one in spectra])
    evidence = _Evidence(
        Wobble(np.where(seen, noise, np.inf)), band_weights(spectra[0], _MODEL_HZ), levels
    )
    described = evidence.banded(told.described_db)[0]
    moves = evidence.moves(told.described_strayed_db, told.described_db[0])
    parts = evidence.wobble.straying(moves)
    residual = levels - described
    plain = float(evidence.wobble.misfit(residual, parts))
    tried = []
    for fault, gain, strayed in zip(told.fault, told.gain_db, told.strayed_db, strict=True):
        own = told.described_db[0] if fault.values else gain[0]
        spread = evidence.wobble.straying(evidence.moves(strayed, own))
        tried.append(_fitted(fault, evidence, evidence.banded(gain), spread))
    tried.sort(key=lambda cause: cause.chi2)
    off = _dials_off(told.dial, residual, moves, evidence.wobble)
    freedom = evidence.wobble.freedom
    verdict, causes = _verdict(plain, bool(off), tried, freedom)
    hidden, unseen = _unseen(told, evidence, described, moves, plain)
    if verdict == "fits" and (told.dial.max() < AT_TEN or hidden):
        verdict = "cannot tell"
    several = verdict == "several causes"
    return Findings(
        verdict, told.dial, levels - levels[0], np.where(seen, described, np.nan), plain,
        float(chi_squared_at(_DOUBT, freedom)), off, causes, tuple(tried),
        telling_reading([cause.guitar for cause in causes]) if several else None,
        _telling_dial(causes, told.dial, evidence) if several else None,
        hidden, unseen,
        int((seen.any(axis=0) & (BAND_HZ > _TREBLE_HZ)).sum()) >= _FEWEST_TREBLE_BANDS,
        float(BAND_HZ[seen.any(axis=0)].max()),
    )  # fmt: skip


def _telling_dial(causes: tuple[Cause, ...], dial: Array, evidence: "_Evidence") -> float | None:
    """Where to play once more to tell the two in question apart."""
    pair = _rivals(causes)
    if pair is None:
        return None

    def apart(dials: Array) -> float:
        first, second = (evidence.banded(_gain_db(cause.guitar, dials)) for cause in pair)
        quiet = evidence.wobble.in_silence(dials.size)
        return float(np.square(quiet.whitened(first - second)).sum())

    return telling_dial(dial, apart, CLEAR_CHI2)


def _rivals(causes: tuple[Cause, ...]) -> tuple[Cause, Cause] | None:
    others = (cause for cause in causes if len(culprits((causes[0], cause))) > 1)
    return next(((causes[0], other) for other in others), None)


@dataclass(frozen=True, eq=False)
class _Evidence:
    """What takes tell: how certain their bands are, what these are made of, and their levels."""

    wobble: Wobble
    weights: Array
    levels_db: Array

    def banded(self, gain_db: Array) -> Array:
        """From responses to bands, shape (..., t, f) to (..., t, b)."""
        return np.asarray(power_decibels(power(gain_db) @ self.weights))

    def moves(self, moved_db: Array, from_db: Array) -> Array:
        """What a standard deviation of each part does to the bands of a guitar."""
        return self.banded(from_db + moved_db) - self.banded(from_db)


def _fitted(fault: Fault, evidence: _Evidence, levels: Array, parts: Straying) -> Cause:
    """The value of a fault that fits best; between two of its values, by a straight line."""
    seen, misfit = evidence.levels_db, evidence.wobble.misfit
    chi2 = misfit(seen - levels, parts)
    best = int(np.argmin(chi2))
    value = fault.values[best] if fault.values else fault.nominal
    at, least = levels[best], float(chi2[best])
    for other in (best - 1, best + 1):
        if not fault.values or not 0 <= other < len(fault.values):
            continue
        share = np.linspace(0.0, 1.0, 9)
        between = levels[best] + share[:, None, None] * (levels[other] - levels[best])
        some = misfit(seen - between, parts)
        k = int(np.argmin(some))
        if some[k] < least:
            least, at = float(some[k]), between[k]
            value = _between(fault, best, other, float(share[k]))
    return Cause(fault, value, least, seen - at)


def _between(fault: Fault, one: int, other: int, share: float) -> float:
    low, high = fault.values[one], fault.values[other]
    if fault.unit in ("dial", "midpoint") or low <= 0 or high <= 0:
        return low + share * (high - low)
    return float(low * (high / low) ** share)


def _dials_off(dial: Array, residual: Array, moves: Array, wobble: Wobble) -> tuple[float, ...]:
    """Dials whose level or shape chance would not be this far off."""

    def misfit(some: Wobble) -> float:
        return float(some.misfit(residual, some.straying(moves)))

    # Two tests a take.
    each, whole, off = 1.0 - (1.0 - _DOUBT) / (2 * dial.size), misfit(wobble), []
    for take, stood in enumerate(dial):
        at_any, without = wobble.at_any_level(take), wobble.without(take)
        of_level, of_shape = misfit(at_any), misfit(without)
        freedom = max(wobble.freedom - without.freedom - 1, 1)
        most = chi_squared_at(each, np.array([1.0, freedom]))
        if whole - of_level > most[0] or of_level - of_shape > most[1]:
            off.append(float(stood))
    return tuple(off)


def _verdict(
    plain: float, any_off: bool, tried: list[Cause], freedom: int
) -> tuple[Verdict, tuple[Cause, ...]]:
    best = tried[0] if tried else None
    better = best is not None and plain - best.chi2 >= SIGNIFICANT_CHI2
    if plain <= chi_squared_at(_DOUBT, freedom) and not any_off and not better:
        return "fits", ()
    if best is None or best.chi2 > chi_squared_at(_DISBELIEF, freedom):
        return "unexplained", ()
    remain = [cause for cause in tried if cause.chi2 - best.chi2 < CLEAR_CHI2]
    remain.sort(key=lambda cause: PLAUSIBILITY.index(cause.fault.kind))
    return ("one cause" if len(culprits(remain)) == 1 else "several causes"), tuple(remain)


def culprits(causes: Sequence[Cause]) -> tuple[str, ...]:
    """What to look at; a part that is open, shorted or of another value is one thing."""
    same_part = ("value", "open", "short", "law")
    seen: list[str] = []
    for cause in causes:
        fault = cause.fault
        key = fault.culprit if fault.kind in same_part else fault.text
        if key not in seen:
            seen.append(key)
    return tuple(seen)


def _unseen(
    told: Foretold, evidence: _Evidence, described: Array, moves: Array, plain: float
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Faults that these takes do not tell from none: those that noise hides, and all.

    Of a value its double and its half.
    """
    noisy, quiet = evidence.wobble, evidence.wobble.in_silence(len(described))
    parts, quiet_parts = noisy.straying(moves), quiet.straying(moves)
    hidden, blind = [], []
    for fault, gain in zip(told.fault, told.gain_db, strict=True):
        slips, untold = tuple(_slips(fault)), []
        for words, k in slips:
            far = evidence.banded(gain[k])
            seen = float(noisy.misfit(far - described, parts))
            rejected = float(noisy.misfit(evidence.levels_db - far, parts)) - plain
            if seen < SIGNIFICANT_CHI2 or rejected < CLEAR_CHI2:
                untold.append(words)
            # By their noise, and not because they are few or far from where it shows.
            if seen < SIGNIFICANT_CHI2 and (
                float(quiet.misfit(far - described, quiet_parts)) > 2 * SIGNIFICANT_CHI2
            ):
                hidden.append(words)
        both = len(untold) == len(slips) > 1
        blind += [f"the {fault.culprit}'s value"] if both else untold
    return tuple(dict.fromkeys(hidden)), tuple(dict.fromkeys(blind))


def _slips(fault: Fault) -> Iterator[tuple[str, int]]:
    """A fault in words, and which of its guitars has it; of a value that is twice off, or half."""
    if not fault.values:
        yield fault.text, 0
        return
    values = np.array(fault.values)
    if fault.unit in ("dial", "midpoint"):
        wanted = [fault.nominal - 3 * fault.spread, fault.nominal + 3 * fault.spread]
        wanted = [one for one in wanted if values[0] <= one <= values[-1]]
    else:
        wanted = [0.5 * fault.nominal, 2.0 * fault.nominal]
    for value in wanted:
        yield fault.worded(value), int(np.argmin(np.abs(np.log((values + 1e-9) / (value + 1e-9)))))


def in_figures(levels_db: Array) -> tuple[Array, Array]:
    """Level (bands around 500 Hz) and treble (2-4 kHz less level) of band levels.

    Parameters
    ----------
    levels_db : ndarray, shape (t, b)
        NaN where unusable.

    Returns
    -------
    level_db, treble_db : ndarray, shape (t,)
        NaN where no band of it is usable.
    """
    body = (BAND_HZ > 390.0) & (BAND_HZ < 640.0)
    treble = (BAND_HZ > 1990.0) & (BAND_HZ < 4100.0)
    level = _mean(levels_db[:, body])
    return level, _mean(levels_db[:, treble]) - level


def _mean(levels_db: Array) -> Array:
    seen = ~np.isnan(levels_db)
    count = seen.sum(axis=1)
    total = np.where(seen, levels_db, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
