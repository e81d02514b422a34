"""Judging: responses, need, figures of merit, the search, the spread of parts, cleaning up."""

from collections.abc import Iterable

import numpy as np

from presolder._asked import (
    DesignLike,
    Numbers,
    Progress,
    RigLike,
    asked_design,
    asked_designs,
    asked_dials,
    asked_frequencies,
    asked_rig,
    counted,
)
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError, place
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.network import Capacitor, Network, Resistor
from presolder.models.instrument.preferred import preferred_values
from presolder.models.instrument.quantities import Unit, parse_quantity, require_component
from presolder.models.instrument.topologies import DEFAULT_SHAPES, canonical
from presolder.models.judging.cleanup import REFERENCE_HZ, clean_up
from presolder.models.judging.merit import DIALS
from presolder.models.judging.need import Playing
from presolder.models.judging.need import need as judge_need
from presolder.models.judging.ranking import TONE_WEIGHT, ranked
from presolder.models.judging.recommendation import recommend
from presolder.models.judging.search import Shelf, combinations, dual_pot_gangs, require_searchable
from presolder.models.judging.tolerance import Builds, Spread, draw_builds
from presolder.models.typing import Array, ComplexArray
from presolder.render.report.cleanup import CleanupReport
from presolder.render.report.curves import Curves
from presolder.render.report.figures import Comparison
from presolder.render.report.need import NeedReport
from presolder.render.report.search import SearchReport

Value = float | str
FREQUENCIES_HZ = np.geomspace(20.0, 20_000.0, 200)
CLEANUP_DIALS = np.linspace(0.1, 10.0, 100)


def response(rig: RigLike, design: DesignLike, hz: Numbers, dial: Numbers) -> ComplexArray:
    """Transfer function of the control chain, pickup's EMF to the input it feeds.

    Parameters
    ----------
    rig : Rig or str
    design : Design or str
    hz : float or array_like, shape (f,)
        Frequencies above 0.
    dial : float or array_like, shape (d,)
        Dial positions 0-10.

    Returns
    -------
    ndarray of complex, shape (d, f)
        Volts at the input per volt of EMF.

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
    >>> float(abs(ps.response("humbucker-500k", "bare", 20, 10))[0, 0].round(3))
    0.966
    """
    equations = chain_equations(asked_rig(rig), asked_design(design).network)
    return transfer(equations, asked_frequencies(hz), asked_dials(dial))


def response_db(rig: RigLike, design: DesignLike, hz: Numbers, dial: Numbers) -> Array:
    """Level of the response, in dB re the pickup's EMF.

    Parameters
    ----------
    rig, design, hz, dial
        As for `response`.

    Returns
    -------
    ndarray, shape (d, f)
        Minus infinity at dial 0.

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
    >>> ps.response_db("humbucker-500k", "bare", hz=[500, 3000], dial=[10, 5]).round(1).tolist()
    [[-0.1, 4.5], [-17.3, -18.0]]
    """
    return decibels(response(rig, design, hz, dial))


def curves(
    rig: RigLike,
    designs: Iterable[DesignLike] | None = None,
    dials: Numbers = (10.0, 7.0, 5.0, 3.0, 1.0),
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
    designs : iterable of Design or str, optional
        By default every built-in one.
    dials : float or array_like, shape (d,)
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
    >>> print(ps.curves("humbucker-500k", ["bare", "cap"], dials=[10, 5]))
    level at 500 Hz, dB (dial 10 is 0)
          at 10   at 5
    bare    0.0  -17.2
    cap     0.0  -17.0
    <BLANKLINE>
    treble at 2-4 kHz against 500 Hz, dB (dial 10 is 0)
          at 10  at 5
    bare    0.0  -4.1
    cap     0.0   0.1
    """
    found, chosen, positions = asked_rig(rig), asked_designs(designs), asked_dials(dials)
    builds = None
    if spread is not None:
        above = positions[positions > 0]
        if above.size == 0:
            raise InputError("every dial is silent; give at least one above 0")
        told = counted(progress, draws * len(chosen))
        builds = tuple(
            draw_builds(found, one.network, above, spread, draws=draws, seed=seed, progress=told)
            for one in chosen
        )
    return Curves(found, chosen, positions, asked_frequencies(hz), builds)


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
        Percentiles of level and treble, and what each part does to them.

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
    network = asked_design(design).network
    told = counted(progress, draws)
    return draw_builds(
        asked_rig(rig), network, positions, spread, draws=draws, seed=seed, progress=told
    )


def need(
    rig: RigLike, plays: Playing = "rolls-back", dials: Numbers = (10.0, 8.0, 6.0, 4.0, 2.0)
) -> NeedReport:
    """Judge whether a bypass is needed at all.

    Parameters
    ----------
    rig : Rig or str
        Judged without a bypass.
    plays : {"full", "rolls-back", "swells", "cleans-up-dirt"}
        What the player does with the knob.
    dials : float or array_like, shape (d,)
        Positions above 0 to report.

    Returns
    -------
    NeedReport
        ``verdict`` in a word; ``found`` has the numbers, in dB and Hz.

    Raises
    ------
    InputError
        If a dial is 0 or out of range.

    Notes
    -----
    Limits of the verdicts are common practice, no source; docs/figures.md.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.need("humbucker-500k", plays="full").verdict
    'no'
    """
    found = asked_rig(rig)
    return NeedReport(found, plays, judge_need(found, plays, asked_dials(dials, silent_ok=False)))


def compare(
    rig: RigLike,
    designs: Iterable[DesignLike] | None = None,
    *,
    tone_weight: float = TONE_WEIGHT,
    dials: Numbers = DIALS,
) -> Comparison:
    """Rank designs by how well they keep the taper, the tone, or both.

    Parameters
    ----------
    rig : Rig or str
    designs : iterable of Design or str, optional
        By default every built-in one.
    tone_weight : float
        0 to keep the taper only, 1 to keep the tone only.
    dials : float or array_like, shape (d,)
        Positions above 0 that count.

    Returns
    -------
    Comparison
        ``ranked``, best first, with figures in dB.

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    The figures are defined in docs/figures.md; A-weighting after IEC 61672-1.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.compare("humbucker-500k", tone_weight=0).ranked[0].design.name
    'bare'
    """
    found, positions = asked_rig(rig), asked_dials(dials, silent_ok=False)
    _require_weight(tone_weight)
    judged = ranked(found, asked_designs(designs), tone_weight, positions)
    return Comparison(found, judged, tone_weight, positions)


def tailor(
    rig: RigLike,
    *,
    series: str = "E12",
    topologies: Iterable[DesignLike] | None = None,
    resistors: tuple[Value, Value] = ("1k", "1M"),
    capacitors: tuple[Value, Value] = ("10p", "10n"),
    gangs: Iterable[Value] = ("100k", "250k", "500k", "1M"),
    tone_weight: float = TONE_WEIGHT,
    dials: Numbers = DIALS,
    top: int = 6,
    progress: Progress | None = None,
) -> SearchReport:
    """Search values that one can buy for the best of each topology.

    Parameters
    ----------
    rig : Rig or str
    series : {"E6", "E12", "E24", "E48", "E96"}
    topologies : iterable of Design or str, optional
        Their values do not matter; by default all of up to three parts.
    resistors, capacitors : (smallest, largest)
        In ohms and farads, or as text.
    gangs : iterable of float or str
        Second gangs to be had, ohms; empty for no dual pots.
    tone_weight : float
        0 to keep the taper only, 1 to keep the tone only.
    dials : float or array_like, shape (d,)
        Positions above 0 that count.
    top : int
        The most to return.
    progress : callable, optional
        Called with the topologies done since the last call, and all there are.

    Returns
    -------
    SearchReport
        ``found.best``, best first.

    Raises
    ------
    InputError
        If a value cannot be used, or nothing is left to search.

    Notes
    -----
    Preferred values after IEC 60063. Every bypass is put across the chain by
    the Sherman-Morrison-Woodbury formula (Golub and Van Loan, Matrix
    Computations, section 2.1.4).

    Examples
    --------
    >>> import presolder as ps
    >>> result = ps.tailor("humbucker-500k", series="E6", topologies=["series"], gangs=[])
    >>> print(result.found.best[0].judged.design)
    680k + 150p
    """
    found, positions = asked_rig(rig), asked_dials(dials, silent_ok=False)
    _require_weight(tone_weight)
    if not 1 <= top <= 100:
        raise InputError(f"top = {top} must lie between 1 and 100")
    shelf = Shelf(
        tuple(Resistor(v) for v in _values(resistors, series, "ohm")),
        tuple(Capacitor(v) for v in _values(capacitors, series, "farad")),
        dual_pot_gangs(tuple(_component(value, "ohm") for value in gangs)),
    )
    shapes = _shapes(topologies, shelf)
    told = counted(progress, len(shapes))
    result = recommend(found, shapes, shelf, tone_weight, positions, top=top, progress=told)
    return SearchReport(found, result, tone_weight, positions, series)


def _shapes(topologies: Iterable[DesignLike] | None, shelf: Shelf) -> tuple[Network, ...]:
    """Distinct topologies that the shelf has parts for."""
    shapes: dict[object, Network] = {}
    with place("topology"):
        for design in map(asked_design, topologies or ()):
            network = require_searchable(design)
            shapes.setdefault(canonical(network), network)
    asked = tuple(shapes.values()) or DEFAULT_SHAPES
    left = tuple(shape for shape in asked if combinations(shape, shelf) > 0)
    if not left:
        raise InputError("no second gangs leaves nothing to search in these topologies")
    return left


def _require_weight(tone_weight: float) -> None:
    if not 0.0 <= tone_weight <= 1.0:
        raise InputError(f"tone_weight = {tone_weight:g} must lie between 0 and 1")


def _component(value: Value, unit: Unit) -> float:
    number = parse_quantity(value, unit)
    require_component("value", number, unit)
    return number


def _values(bounds: tuple[Value, Value], series: str, unit: Unit) -> Array:
    low, high = (_component(bound, unit) for bound in bounds)
    if low > high:
        raise InputError(f"{bounds[0]}:{bounds[1]} must be smallest:largest")
    values = preferred_values(series, low, high)
    if values.size == 0:
        raise InputError(f"{bounds[0]}:{bounds[1]}: no {series} value lies between these")
    return values


def cleanup(
    rig: RigLike,
    designs: Iterable[DesignLike] | None = None,
    *,
    dirt: Dirt | None = None,
    tone_hz: float = REFERENCE_HZ,
    dials: Numbers = CLEANUP_DIALS,
) -> CleanupReport:
    """Tell at which dial each design's dirt turns clean.

    Parameters
    ----------
    rig : Rig or str
    designs : iterable of Design or str, optional
        By default every built-in one.
    dirt : Dirt, optional
        The stage; by default the rig's own, or a smooth one.
    tone_hz : float
        The reference tone, 20 to 5000 Hz. It reaches the stage at dial 10 by
        the stage's drive past its knee.
    dials : float or array_like, shape (d,)
        Rising positions above 0.

    Returns
    -------
    CleanupReport
        Distortion as a ratio, level and treble in dB, by dial.

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    Total harmonic distortion after IEC 60268-3, referred to the total output.

    Examples
    --------
    >>> import presolder as ps
    >>> report = ps.cleanup("humbucker-500k", ["bare"], dirt=ps.dirt("smooth"))
    >>> float(report.figures[0].thd[-1].round(2))
    0.33
    """
    found = asked_rig(rig)
    stage = dirt or found.dirt or Dirt("smooth")
    if not 20 <= tone_hz <= 5000:
        raise InputError(f"{tone_hz:g} must lie between 20 and 5000 Hz")
    chosen, positions = asked_designs(designs), asked_dials(dials, silent_ok=False)
    figures = tuple(clean_up(found, one.network, stage, positions, tone_hz) for one in chosen)
    return CleanupReport(found, stage, tone_hz, chosen, figures)
