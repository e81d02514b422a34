"""How well a difference between takes and prediction goes with a player's wobble and real parts.

What is played is unknown but the same in all takes, save for a level that
wobbles between takes and a smaller wobble of each band; and each take's own
noise makes its bands as uncertain as they stand little out of it. Parts stray by
what is usual; each moves the bands along a line that is known.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import NDArray

from presolder.models.typing import Array

# Standard deviations of a phrase played again; common practice, no source.
LEVEL_WOBBLE_DB, BAND_WOBBLE_DB = 1.75, 0.7
# As good as anything.
_ANY_LEVEL_DB = 60.0


@dataclass(frozen=True, eq=False)
class Wobble:
    """How uncertain t takes are in b bands.

    Attributes
    ----------
    noise_db : ndarray, shape (t, b)
        Standard deviation that noise gives each band of each take, beside the
        player's; infinite where nothing can be told.
    level_db : ndarray, shape (t,)
        Of each take's level.
    """

    noise_db: Array
    level_db: Array = field(default_factory=lambda: np.array(LEVEL_WOBBLE_DB))

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Which bands of which takes count, shape (t, b)."""
        return np.isfinite(self.noise_db)

    def in_silence(self, takes: int) -> "Wobble":
        """So many takes without noise, in the bands that count in any."""
        told = np.where(self.seen.any(axis=0), 0.0, np.inf)
        return Wobble(np.broadcast_to(told, (takes, told.size)))

    def without(self, take: int) -> "Wobble":
        """The same without one of the takes."""
        noise = self.noise_db.copy()
        noise[take] = np.inf
        return replace(self, noise_db=noise)

    def at_any_level(self, take: int) -> "Wobble":
        """The same with the level of one take left open."""
        level = np.broadcast_to(self.level_db, len(self.noise_db)).copy()
        level[take] = _ANY_LEVEL_DB
        return replace(self, level_db=level)

    @cached_property
    def _root(self) -> Array:
        """What makes independent numbers of unit variance out of the bands that count.

        The unknown spectrum of the phrase takes up one number a band: what is
        left are the directions that are orthogonal to it, where the covariance
        is a sphere (generalised least squares; Rasmussen and Williams, Gaussian
        Processes for Machine Learning, section 2.7, from memory).
        """
        take, band = np.nonzero(self.seen)
        if take.size == 0:
            return np.zeros((0, 0))
        level = np.broadcast_to(self.level_db, len(self.noise_db))[take]
        covariance = np.where(take[:, None] == take, np.square(level)[:, None], 0.0)
        covariance += np.diag(np.square(self.noise_db[take, band]) + BAND_WOBBLE_DB**2)
        inverse = scipy.linalg.solve_triangular(
            np.linalg.cholesky(covariance), np.eye(take.size), lower=True
        )
        common = (band[:, None] == np.unique(band)).astype(np.float64)
        turned = np.linalg.qr(inverse @ common, mode="complete")[0]
        return np.asarray(turned[:, common.shape[1] :].T @ inverse)

    @property
    def freedom(self) -> int:
        """Numbers that are left."""
        return int(self._root.shape[0])

    def whitened(self, residual_db: Array) -> Array:
        """Measured less predicted, shape (..., t, b), as independent numbers of unit variance.

        The sum of their squares is a chi-squared with `freedom` degrees of freedom.
        """
        return np.asarray(residual_db[..., self.seen] @ self._root.T)

    def straying(self, moves_db: Array) -> "Straying":
        """From the change of the bands for a standard deviation of each part, shape (k, t, b)."""
        moves = self.whitened(moves_db).T
        kept = np.linalg.solve(np.eye(moves.shape[1]) + moves.T @ moves, moves.T)
        return Straying(moves, np.asarray(kept, dtype=np.float64))

    def misfit(self, residual_db: Array, parts: "Straying") -> Array:
        """Chi-squared of residuals, the ordinary straying of parts allowed for.

        Parameters
        ----------
        residual_db : ndarray, shape (..., t, b)
        parts : Straying

        Returns
        -------
        ndarray, shape (...)

        Notes
        -----
        Twice the negative logarithm of the likelihood with Gaussian parts, at
        its maximum: min over u of |w - M u|^2 + |u|^2 (Rasmussen and Williams,
        Gaussian Processes for Machine Learning, section 2.1, from memory).
        """
        w = self.whitened(residual_db)
        strayed = w @ parts.gain.T
        return np.asarray(np.square(w).sum(axis=-1) - ((w @ parts.moves) * strayed).sum(axis=-1))


@dataclass(frozen=True, eq=False)
class Straying:
    """The directions in which ordinary parts move the bands: k of them, n numbers.

    Attributes
    ----------
    moves : ndarray, shape (n, k)
        Whitened change of the bands for one standard deviation of each part.
    gain : ndarray, shape (k, n)
        From a whitened residual to how far each part has most likely strayed.
    """

    moves: Array
    gain: Array
