"""How well a difference between takes and prediction goes with a player's wobble and real parts.

What is played is unknown but the same in all takes, save for a level that
wobbles between takes and a smaller wobble of each band. Parts stray by what is
usual; each moves the bands along a line that is known.
"""

from dataclasses import dataclass

import numpy as np

from presolder.models.typing import Array

# Standard deviations of a phrase played again; common practice, no source.
LEVEL_WOBBLE_DB, BAND_WOBBLE_DB = 1.0, 0.7


def whitened(residual_db: Array) -> Array:
    """Residuals in units of the wobble.

    Parameters
    ----------
    residual_db : ndarray, shape (..., t, b)
        Measured less predicted, takes by bands.

    Returns
    -------
    ndarray, shape (..., t, b + 1)
        Each take's shape over the bands, then its level.

    Notes
    -----
    The unknown spectrum of the phrase takes up each band's mean over the
    takes. What is left of a take falls into its mean over the bands, which
    wobbles with the level and the bands, and the rest, which wobbles with the
    bands alone. The sum of squares is a chi-squared with (t - 1) b degrees of
    freedom.
    """
    bands = residual_db.shape[-1]
    centred = residual_db - residual_db.mean(axis=-2, keepdims=True)
    level = centred.mean(axis=-1, keepdims=True)
    level_variance = LEVEL_WOBBLE_DB**2 + BAND_WOBBLE_DB**2 / bands
    return np.concatenate(
        [(centred - level) / BAND_WOBBLE_DB, level / np.sqrt(level_variance)], axis=-1
    )


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


def straying(moves_db: Array) -> Straying:
    """From the change of the bands for a standard deviation of each part, shape (k, t, b)."""
    moves = whitened(moves_db).reshape(moves_db.shape[0], -1).T
    kept = np.linalg.solve(np.eye(moves.shape[1]) + moves.T @ moves, moves.T)
    return Straying(moves, np.asarray(kept, dtype=np.float64))


def misfit(residual_db: Array, parts: Straying) -> Array:
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
    Twice the negative logarithm of the likelihood with Gaussian parts, at its
    maximum: min over u of |w - M u|^2 + |u|^2 (Rasmussen and Williams, Gaussian
    Processes for Machine Learning, section 2.1, from memory).
    """
    w = whitened(residual_db).reshape(*residual_db.shape[:-2], -1)
    strayed = w @ parts.gain.T
    return np.asarray(np.square(w).sum(axis=-1) - ((w @ parts.moves) * strayed).sum(axis=-1))


def left_over(residual_db: Array, parts: Straying) -> Array:
    """Whitened residual less what parts have most likely strayed, shape (t, b + 1)."""
    w = whitened(residual_db)
    rest = w.ravel() - parts.moves @ (parts.gain @ w.ravel())
    return np.asarray(rest.reshape(w.shape))
