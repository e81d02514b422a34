"""A pot's track, taper and the pickup's winding from an ohmmeter's readings over the dial."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy

from presolder.models.errors import InputError
from presolder.models.instrument.controls import require_dial
from presolder.models.instrument.law import (
    BENT_TAPERS,
    DIAL_MAX,
    Taper,
    TaperKind,
    fraction_below_wiper,
)
from presolder.models.instrument.rig import VolumeWiring
from presolder.models.typing import Array

# Laws with the bends to look from; an audio law that bends the other way is the reverse-audio one.
LAWS: dict[TaperKind, tuple[list[float], ...]] = {
    "linear": ([],),
    "audio": ([-1.0], [1.0]),
    "two-slope": ([-1.0], [1.0]),
}
# How far real tracks stray from a law, and over how much of the dial alike: common practice,
# no source.
_STRAY, _STRAY_DIALS = 0.025, 2.5
# Readings whose deviations from a law are explained by the meter keep the law's name.
_PLAIN_CHI2_PER_READING = 1.5
_FEWEST_READINGS = 5
_NORMAL_95 = 1.96


@dataclass(frozen=True, eq=False)
class Track:
    """What ohmmeter readings say of a pot and the pickup behind it.

    Attributes
    ----------
    dial, ohms : ndarray, shape (n,)
        The readings, from low to high dial.
    track_ohms, track_error : float
        Total resistance of the pot, and relative error.
    winding_ohms, winding_error : float or None
        Of the pickup, if it was measured along.
    fraction, fraction_error : ndarray, shape (n,)
        Of the track below the wiper, at those dials; absolute error.
    taper : Taper
        A named law if the readings fit it, else the measured points.
    off_law : float
        RMS of how far the readings are from the best law, in standard
        deviations of the meter.
    """

    dial: Array
    ohms: Array
    track_ohms: float
    track_error: float
    winding_ohms: float | None
    winding_error: float | None
    fraction: Array
    fraction_error: Array
    taper: Taper
    off_law: float


def track_at_jack(
    dial: Array,
    ohms: Array,
    *,
    wiring: VolumeWiring = "lug",
    across_ohms: float = np.inf,
    meter_error: float = 0.01,
) -> Track:
    """Track, winding and taper from ohms between tip and sleeve of the closed guitar.

    Parameters
    ----------
    dial, ohms : ndarray, shape (n,)
        Readings; one at 10, and others above 0 on both sides of the highest.
    wiring : {"lug", "independent"}
        Whether the pickup is at the input lug or at the wiper.
    across_ohms : float
        Of a bypass between input lug and wiper, at direct current.
    meter_error : float
        Relative.

    Returns
    -------
    Track

    Raises
    ------
    InputError
        If there are too few readings, or they are not those of a pot.

    Notes
    -----
    With track T, winding R and fraction a below the wiper the jack sees
    a T parallel to ((1 - a) T + R), which is T R / (T + R) at 10 and highest,
    (T + R) / 4, where half of the loop lies on either side: the two settle T
    and R. Between, the fraction is solved for by least squares on a named law
    plus a smooth deviation, because at the highest reading itself a hardly
    matters. A tone control's capacitor blocks direct current.
    """
    dial, ohms = _in_order(dial, ohms, "a reading at 10")

    def seen(values: Array, fraction: Array) -> Array:
        track, winding = np.exp(values[0]), np.exp(values[1])
        upper = (1.0 - fraction) * track
        upper = upper / (1.0 + upper / across_ohms)
        lower = fraction * track
        if wiring == "independent":
            return np.asarray(upper + lower * winding / (lower + winding))
        return np.asarray(lower * (upper + winding) / (lower + upper + winding))

    around = 4.0 * float(ohms.max())
    winding = float(ohms[-1]) * around / (around - float(ohms[-1])) if around > ohms[-1] else 1.0
    starts = [
        np.log([max(around - winding, winding) * factor, winding]) for factor in (0.7, 1.0, 1.6)
    ]
    return _solved(dial, ohms, seen, starts, meter_error)


def track_at_lugs(dial: Array, ohms: Array, meter_error: float = 0.01) -> Track:
    """Track and taper from ohms between ground lug and wiper lug, their leads off.

    Parameters
    ----------
    dial, ohms : ndarray, shape (n,)
        Readings; that at 10 is the whole track.
    meter_error : float
        Relative.

    Returns
    -------
    Track

    Raises
    ------
    InputError
        If there are too few readings, or none at 10, or they fall.
    """
    dial, ohms = _in_order(dial, ohms, "a reading at 10, the whole track,")
    if np.any(np.diff(ohms) < -2.0 * meter_error * ohms[1:]):
        raise InputError("ohms must not fall with the dial; are these the other two lugs?")

    def seen(values: Array, fraction: Array) -> Array:
        return np.asarray(fraction * np.exp(values[0]))

    return _solved(dial, ohms, seen, [np.log(ohms[-1:])], meter_error)


def tracking(one: Track, other: Track) -> float:
    """How far two sections of a dual pot are apart, as a fraction, at most.

    Parameters
    ----------
    one, other : Track
    """
    dial = np.linspace(0.5, 9.5, 37)
    apart = fraction_below_wiper(one.taper, dial) - fraction_below_wiper(other.taper, dial)
    return float(np.abs(apart).max())


def _in_order(dial: Array, ohms: Array, at_ten: str) -> tuple[Array, Array]:
    """The readings from low to high dial, the last of them at 10."""
    for each in dial:
        require_dial("dial", float(each))
    if np.any(~np.isfinite(ohms)) or np.any(ohms <= 0):
        raise InputError("ohms must be above 0 and finite; leave dial 0 out")
    order = np.argsort(dial)
    dial, ohms = dial[order], ohms[order]
    if dial.size < _FEWEST_READINGS or np.any(np.diff(dial) <= 0) or dial[0] <= 0:
        raise InputError(
            f"at least {_FEWEST_READINGS} readings at different dials above 0 are needed,"
            " better one at each number"
        )
    if dial[-1] != DIAL_MAX:
        raise InputError(f"{at_ten} is needed")
    return dial, ohms


def _solved(
    dial: Array,
    ohms: Array,
    seen: Callable[[Array, Array], Array],
    starts: list[Array],
    meter_error: float,
) -> Track:
    """By the law that fits best, with a smooth deviation from it."""
    answers = [
        (law, _fitted(law, np.concatenate([start, bend, np.zeros(law.inner)])))
        for law in (_Law(kind, dial, ohms, seen, starts[0].size, meter_error) for kind in LAWS)
        for bend in LAWS[law.kind]
        for start in starts
    ]
    # A law that bends has a value more to fit with.
    law, answer = min(answers, key=lambda pair: float(pair[1].cost) + pair[0].bent)
    values = np.asarray(answer.x)
    off_meter = float(np.sqrt(np.mean(np.square(law.miss(values)[: dial.size]))))
    if off_meter > 4.0:
        raise InputError(
            "these are not readings of one pot: they miss every track by"
            f" {100 * off_meter * meter_error:.0f} %; was another pickup on, or a knob moved?"
        )
    jacobian = np.asarray(answer.jac, dtype=np.float64)
    covariance = np.asarray(np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-10), dtype=np.float64)
    fraction = law.fractions(values)
    named, off_law = law.alone(values)
    points = tuple((float(d), float(f)) for d, f in zip(dial, fraction, strict=True))
    plain = off_law**2 < _PLAIN_CHI2_PER_READING
    # All readings of a meter may be off alike.
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0))[: law.known]
    errors = _NORMAL_95 * np.hypot(errors, meter_error / np.sqrt(3.0))
    found = np.exp(values[: law.known])
    winding, winding_error = (float(found[1]), float(errors[1])) if law.known > 1 else (None, None)
    return Track(
        dial, ohms, float(found[0]), float(errors[0]), winding, winding_error,
        fraction, _NORMAL_95 * law.deviation(values, covariance),
        named if plain else Taper("measured", points=points), off_law,
    )  # fmt: skip


def _fitted(law: "_Law", start: Array) -> scipy.optimize.OptimizeResult:
    return scipy.optimize.least_squares(law.miss, start, x_scale="jac", xtol=1e-10, ftol=1e-10)


@dataclass(frozen=True, eq=False)
class _Law:
    """A kind of track, and how far it is from the readings.

    Its values are logarithms of resistances, the bend if it has one, and a
    number for each reading below 10 that makes up the smooth deviation.
    """

    kind: TaperKind
    dial: Array
    ohms: Array
    seen: Callable[[Array, Array], Array]
    known: int
    meter_error: float

    @property
    def bent(self) -> bool:
        return self.kind in BENT_TAPERS

    @property
    def inner(self) -> int:
        """Number of readings below 10."""
        return int((self.dial < DIAL_MAX).sum())

    @cached_property
    def smooth(self) -> Array:
        return _smooth(self.dial[: self.inner])

    def taper(self, values: Array) -> Taper:
        middle = 1.0 / (1.0 + np.exp(-values[self.known])) if self.bent else 0.5
        return Taper(self.kind, float(np.clip(middle, 0.002, 0.998)))

    def fractions(self, values: Array) -> Array:
        below = fraction_below_wiper(self.taper(values), self.dial)
        below[: self.inner] += self.smooth @ values[self.known + self.bent :]
        return np.clip(below, 1e-4, 1.0)

    def miss(self, values: Array) -> Array:
        off = np.log(self.seen(values, self.fractions(values)) / self.ohms) / self.meter_error
        return np.concatenate([off, values[self.known + self.bent :]])

    def alone(self, values: Array) -> tuple[Taper, float]:
        """The law without a deviation, and the RMS by which it misses the readings."""
        few = self.known + self.bent

        def miss(law: Array) -> Array:
            return self.miss(np.concatenate([law, np.zeros(self.inner)]))[: self.dial.size]

        answer = scipy.optimize.least_squares(miss, values[:few], x_scale="jac")
        off = float(np.sqrt(2.0 * answer.cost / max(1, self.dial.size - few)))
        return _as_named(self.taper(np.asarray(answer.x))), off

    def deviation(self, values: Array, covariance: Array) -> Array:
        """Standard deviation of the fractions, by their slopes."""
        step = 1e-4
        slopes = np.array(
            [
                (self.fractions(values + one) - self.fractions(values - one)) / (2 * step)
                for one in step * np.eye(values.size)
            ]
        )
        squared = np.einsum("ij,ik,kj->j", slopes, covariance, slopes)
        return np.asarray(np.sqrt(np.maximum(squared, 0.0)))


def _as_named(law: Taper) -> Taper:
    """An audio law that bends the other way under its own name."""
    if law.kind == "audio" and law.midpoint > 0.5:
        return Taper("reverse-audio", 1.0 - law.midpoint)
    return law


def _smooth(inner: Array) -> Array:
    """From independent unit numbers to deviations that are alike over neighbouring dials."""
    x = inner / DIAL_MAX
    size = _STRAY * 4.0 * x * (1.0 - x)
    apart = (inner[:, None] - inner) / _STRAY_DIALS
    covariance = np.outer(size, size) * np.exp(-0.5 * np.square(apart))
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
