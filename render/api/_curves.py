"""What a chain does over frequency and dial, and what the spread of parts does to it."""

from collections.abc import Sequence
from typing import overload

import numpy as np

from presolder._asked import (
    DesignLike,
    DesignsLike,
    Judging,
    Numbers,
    Progress,
    RigLike,
    asked_design,
    asked_designs,
    asked_dials,
    asked_ears,
    asked_frequencies,
    asked_rig,
    asked_situations,
    counted,
)
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.judging.character import character
from presolder.models.judging.tolerance import (
    Builds,
    Spread,
    draw_builds,
    heard_ends,
    tighter_capacitor,
)
from presolder.models.typing import Array, ComplexArray
from presolder.render.report.curves import Curves, Ends

Row = Sequence[float] | Array
FREQUENCIES_HZ = np.geomspace(20.0, 20_000.0, 200)


@overload
def response(rig: RigLike, design: DesignLike, dial: float, hz: float) -> complex: ...
@overload
def response(rig: RigLike, design: DesignLike, dial: Numbers, hz: Row) -> ComplexArray: ...
@overload
def response(rig: RigLike, design: DesignLike, dial: Row, hz: Numbers) -> ComplexArray: ...
def response(
    rig: RigLike, design: DesignLike, dial: Numbers, hz: Numbers
) -> ComplexArray | complex:
    """Transfer function of the control chain, pickup's EMF to the input it feeds.

    Parameters
    ----------
    rig : Rig or str
    design : Design or str
    dial : float or array_like, shape (d,)
        Dial positions 0-10.
    hz : float or array_like, shape (f,)
        Frequencies above 0.

    Returns
    -------
    complex, or ndarray of complex, shape (d, f)
        Volts at the input per volt of EMF; an axis for each row of numbers that was given.

    Raises
    ------
    InputError
        If a dial or frequency is out of range.

    Notes
    -----
    Modified nodal analysis (Ho, Ruehli and Brennan, IEEE Trans. Circuits
    Syst. 22, 1975), solved by LAPACK.

    Examples
    --------
    At dial 10 and a low frequency little is lost but in the winding.

    >>> import presolder as ps
    >>> round(abs(ps.response("humbucker-500k", "bare", 10, 20)), 3)
    0.966
    """
    found = asked_rig(rig)
    equations = chain_equations(found, asked_design(design, found).network)
    dials, frequencies = asked_dials(dial), asked_frequencies(hz)
    gains = transfer(equations, frequencies, dials)
    shape = np.shape(dial) + np.shape(hz)
    return complex(gains[0, 0]) if shape == () else gains.reshape(shape)


@overload
def response_db(rig: RigLike, design: DesignLike, dial: float, hz: float) -> float: ...
@overload
def response_db(rig: RigLike, design: DesignLike, dial: Numbers, hz: Row) -> Array: ...
@overload
def response_db(rig: RigLike, design: DesignLike, dial: Row, hz: Numbers) -> Array: ...
def response_db(rig: RigLike, design: DesignLike, dial: Numbers, hz: Numbers) -> Array | float:
    """Level of the response, in dB re the pickup's EMF.

    Parameters
    ----------
    rig, design, dial, hz
        As for `response`.

    Returns
    -------
    float, or ndarray, shape (d, f)
        As of `response`; minus infinity at dial 0.

    Raises
    ------
    InputError
        As `response`.

    Notes
    -----
    20 log10 of the size of `response`.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.response_db("humbucker-500k", "bare", dial=[10, 5], hz=[500, 3000]).round(1).tolist()
    [[-0.1, 4.5], [-17.3, -18.0]]
    """
    gains: ComplexArray | complex = response(rig, design, dial, hz)
    level_db = decibels(np.asarray(gains))
    return float(level_db) if level_db.ndim == 0 else level_db


def curves(
    rig: RigLike,
    designs: DesignsLike | None = None,
    shown_at: Numbers = (10.0, 7.0, 5.0, 3.0, 1.0),
    *,
    hz: Numbers = FREQUENCIES_HZ,
    spread: Spread | None = None,
    draws: int = 1000,
    seed: int = 1,
    progress: Progress | None = None,
) -> Curves:
    """Level and treble of designs over the dial, and their responses.

    Parameters
    ----------
    rig : Rig or str
    designs : Design, str or iterable of them, optional
        By default every built-in one.
    shown_at : float or array_like, shape (d,)
        Dial positions.
    hz : float or array_like, shape (f,)
        Frequencies of the responses.
    spread : Spread, optional
        How far parts stray; if given, builds are drawn from such parts.
    draws, seed : int
        Of the builds; the same seed gives the same builds.
    progress : callable, optional
        Called with the builds drawn since the last call, and all there are.

    Returns
    -------
    Curves
        Prints as a table; shows a plot in a notebook.

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    Shares of parts are squared standardised regression coefficients (Saltelli
    et al., Global Sensitivity Analysis, section 1.2.5).

    Examples
    --------
    >>> import presolder as ps
    >>> print(ps.curves("humbucker-500k", ["bare", "cap"], shown_at=[10, 5]))
    level at 500 Hz, dB (dial 10 is 0)
          at 10   at 5
    bare    0.0  -17.2
    cap     0.0  -17.1
    <BLANKLINE>
    treble at 2-4 kHz against 500 Hz, dB (dial 10 is 0)
          at 10  at 5
    bare    0.0  -4.1
    cap     0.0  -0.9
    Rig: humbucker-500k
    """
    found, positions = asked_rig(rig), asked_dials(shown_at)
    chosen = asked_designs(designs, found)
    heard = found.as_heard
    builds = ends = None
    if spread is not None:
        above = positions[positions > 0]
        if above.size == 0:
            raise InputError("every dial is silent; give at least one above 0")
        told = counted(progress, draws * len(chosen))
        builds = tuple(
            draw_builds(heard, one.network, above, spread, draws=draws, seed=seed, progress=told)
            for one in chosen
        )
        (ear,) = asked_ears(asked_situations(found), Judging(left_at=above))
        ends = tuple(
            Ends(
                ear,
                heard_ends(ear, one.network, above, spread),
                tighter_capacitor(ear, one.network, above, spread),
            )
            for one in chosen
        )
    frequencies = asked_frequencies(hz)
    gains = np.array(
        [transfer(chain_equations(heard, one.network), frequencies, positions) for one in chosen]
    )
    with np.errstate(invalid="ignore"):  # silence at dial 0 has no treble
        characters = tuple(character(heard, one.network, positions) for one in chosen)
    return Curves(heard, chosen, positions, frequencies, gains, characters, builds, ends)


def builds(
    rig: RigLike,
    design: DesignLike,
    dials: Numbers,
    spread: Spread | None = None,
    *,
    draws: int = 1000,
    seed: int = 1,
    progress: Progress | None = None,
) -> Builds:
    """Draw builds of one design from parts that stray.

    Parameters
    ----------
    rig : Rig or str
    design : Design or str
    dials : float or array_like, shape (d,)
        Dial positions above 0.
    spread : Spread, optional
        How far parts stray; by default as usual.
    draws, seed : int
        The same seed gives the same builds.
    progress : callable, optional
        Called with the builds drawn since the last call, and all there are.

    Returns
    -------
    Builds
        Percentiles of level and treble, what each part does to them, and every draw.

    Raises
    ------
    InputError
        If a dial is 0 or out of range.

    Notes
    -----
    As for `curves`.

    Examples
    --------
    >>> import presolder as ps
    >>> drawn = ps.builds("humbucker-500k", "cap", dials=[5], draws=50)
    >>> drawn.level_db.shape
    (3, 1)
    """
    positions = asked_dials(dials, silent_ok=False)
    found = asked_rig(rig)
    network = asked_design(design, found).network
    told = counted(progress, draws)
    return draw_builds(
        found.as_heard, network, positions, spread, draws=draws, seed=seed, progress=told
    )
