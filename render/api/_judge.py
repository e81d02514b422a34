"""Judging: responses, need, figures of merit, the search, the spread of parts, cleaning up."""

import os
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from presolder._asked import (
    AS_USUAL,
    DesignLike,
    DesignsLike,
    Judging,
    Numbers,
    Progress,
    RigLike,
    SituationsLike,
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
from presolder.models.errors import InputError, place
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.markings import marked_pot
from presolder.models.instrument.network import Capacitor, Gang, Network, Resistor
from presolder.models.instrument.preferred import preferred_values
from presolder.models.instrument.quantities import (
    Unit,
    parse_quantity,
    require_component,
    require_within,
)
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stock import Stock
from presolder.models.instrument.topologies import DEFAULT_SHAPES, canonical
from presolder.models.judging.character import character
from presolder.models.judging.ranking import all_scored, in_order, ranked
from presolder.models.judging.recommendation import recommend
from presolder.models.judging.remedies import remedies
from presolder.models.judging.search import (
    Shelf,
    combinations,
    dual_pot_gangs,
    require_searchable,
    stock_gangs,
)
from presolder.models.judging.tolerance import (
    Builds,
    Spread,
    draw_builds,
    heard_ends,
    tighter_capacitor,
)
from presolder.models.judging.turn import Wanted, fit_travel, pots_sold
from presolder.models.judging.verdict import need as judge_need
from presolder.models.typing import Array, ComplexArray
from presolder.render.files.wanted import read_wanted
from presolder.render.report.curves import Curves, Ends
from presolder.render.report.figures import Comparison
from presolder.render.report.need import NeedReport
from presolder.render.report.search import SearchReport
from presolder.render.report.travel import TravelReport

Value = float | str
_MOST_SHOWN = 100
_TURNING_SHAPES = tuple(
    parse_expression(text)
    for text in ("1n", "1k + 1n", "1k || 1n", "gang(1k) + 1n", "gang(1k) || 1n")
)
FREQUENCIES_HZ = np.geomspace(20.0, 20_000.0, 200)


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
    level_db = decibels(np.asarray(response(rig, design, dial, hz)))
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


def need(
    rig: SituationsLike,
    judging: Judging = AS_USUAL,
    *,
    shown_at: Numbers = (10.0, 9.0, 8.0, 7.0, 6.0, 4.0, 2.0),
) -> NeedReport:
    """Judge whether a bypass is needed at all.

    Parameters
    ----------
    rig : Rig, str, path or sequence of Situation
        Heard into what it really feeds: its dirt, if it has one. By name or file it is
        judged in all of its situations, their scores weighed together.
    judging : Judging
        What designs are judged by.
    shown_at : float or array_like, shape (d,)
        Dials above 0 to report.

    Returns
    -------
    NeedReport
        ``verdict`` in a word; ``found`` has the numbers of each situation.

    Raises
    ------
    InputError
        If a value is out of range, or the take is silent.

    Notes
    -----
    Loudness after ISO 532-1, sharpness after DIN 45692; docs/figures.md says how
    the verdict comes from them.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.need("humbucker-500k", ps.Judging(plays="full")).verdict
    'no'
    >>> [one.verdict for one in ps.need("split-humbucker").found]
    ['yes', 'yes', 'yes']
    """
    ears = asked_ears(asked_situations(rig), judging)
    judged = all_scored(ears, built_in_designs(ears[0].rig.volume))
    shown = asked_dials(shown_at, silent_ok=False)
    found = tuple(
        judge_need(ear, shown, (one.alone(at) for one in judged)) for at, ear in enumerate(ears)
    )
    helping = tuple(
        remedies(ear) if one.verdict != "no" else () for ear, one in zip(ears, found, strict=True)
    )
    return NeedReport(ears, found, helping, in_order(judged))


def compare(
    rig: SituationsLike, designs: DesignsLike | None = None, judging: Judging = AS_USUAL
) -> Comparison:
    """Rank designs by how well they keep the taper, the tone, or both.

    Parameters
    ----------
    rig : Rig, str, path or sequence of Situation
        Heard into what it really feeds: its dirt, if it has one. By name or file it is
        judged in all of its situations, their scores weighed together.
    designs : Design, str or iterable of them, optional
        By default every built-in one.
    judging : Judging
        What designs are judged by.

    Returns
    -------
    Comparison
        ``ranked``, best first, with figures in dB and phon of each situation.

    Raises
    ------
    InputError
        If a value is out of range, or the take is silent.

    Notes
    -----
    As for `need`; over several situations scores are means by their weights.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.compare("humbucker-500k", judging=ps.Judging(tone_weight=0)).ranked[0].design.name
    'bare'
    """
    ears = asked_ears(asked_situations(rig), judging)
    return Comparison(ears, ranked(ears, asked_designs(designs, ears[0].rig)))


def tailor(
    rig: SituationsLike,
    judging: Judging = AS_USUAL,
    *,
    series: str = "E12",
    topologies: Iterable[DesignLike] | None = None,
    resistors: tuple[Value, Value] = ("1k", "1M"),
    capacitors: tuple[Value, Value] = ("10p", "10n"),
    gangs: Iterable[Value] | None = None,
    top: int = 6,
    stock: Stock | None = None,
    progress: Progress | None = None,
) -> SearchReport:
    """Search values that one can buy for the best of each topology.

    Parameters
    ----------
    rig : Rig, str, path or sequence of Situation
        Heard into what it really feeds: its dirt, if it has one. By name or file it is
        judged in all of its situations, their scores weighed together.
    judging : Judging
        What designs are judged by.
    series : {"E6", "E12", "E24", "E48", "E96"}
    topologies : iterable of Design or str, optional
        Their values do not matter; by default all of up to three parts.
    resistors, capacitors : (smallest, largest)
        In ohms and farads, or as text.
    gangs : iterable of float or str, optional
        Second gangs to be had by special order, ohms, linear or audio; empty
        for no dual pots. By default one like the volume pot, which is stock.
    top : int
        The most to return; of a single topology those that are as good as its
        best, the commonest values first.
    stock : Stock, optional
        Parts to choose from, instead of a series and of second gangs; from `stock`.
    progress : callable, optional
        Called with the topologies done since the last call, and all there are.

    Returns
    -------
    SearchReport
        ``found.best``, best first; ``found.own`` is what each situation would have by itself.

    Raises
    ------
    InputError
        If a value cannot be used, or nothing is left to search.

    Notes
    -----
    Preferred values after IEC 60063. Every bypass is put across the chain by
    the Sherman-Morrison-Woodbury formula (Golub and Van Loan, Matrix
    Computations, section 2.1.4). Judged as for `compare`.

    Examples
    --------
    >>> import presolder as ps
    >>> result = ps.tailor("humbucker-500k", series="E6", topologies=["series"], gangs=[])
    >>> print(result.found.best[0].judged.design)
    100k + 470p
    """
    ears = asked_ears(asked_situations(rig), judging)
    require_within([("top", top, 1, _MOST_SHOWN)])
    first = ears[0].rig
    shelf = _shelf(first, series, resistors, capacitors, gangs, stock)
    shapes = _shapes(first, topologies, shelf)
    told = counted(progress, len(shapes))
    if stock is not None:
        # Judging what there is: its dual pots are no special order.
        ears = tuple(
            replace(ear, conditions=replace(ear.conditions, gangs_at_hand=shelf.gangs))
            for ear in ears
        )
    found = recommend(ears, shapes, shelf, top=top, progress=told)
    return SearchReport(ears, found, series, stock is not None)


def travel(
    rig: SituationsLike,
    wanted: Wanted,
    judging: Judging = AS_USUAL,
    *,
    pots: Iterable[Pot | str] | None = None,
    series: str = "E6",
    topologies: Iterable[DesignLike] | None = None,
    top: int = 6,
    progress: Progress | None = None,
) -> TravelReport:
    """Search pot, law, bypass and gang for the turn of the knob that is wanted.

    Parameters
    ----------
    rig : Rig, str, path or sequence of Situation
        Heard into what it really feeds: its dirt, if it has one. By name or file it is
        judged in all of its situations, their scores weighed together.
    wanted : Wanted
        From `turn_wanted`.
    judging : Judging
        What designs are judged by; the dials are those of `wanted`.
    pots : iterable of Pot or str, optional
        To be had, or as marked, ``"A500K"``, beside the one that is fitted; by
        default 250k, 500k and 1M, linear and audio with 0.1, 0.15 and 0.2 at half.
    series : {"E6", "E12", "E24", "E48", "E96"}
    topologies : iterable of Design or str, optional
        Their values do not matter; by default C, R + C, R || C and each with a
        second gang in place of R.
    top : int
        How many to show.
    progress : callable, optional
        Called with the pots done since the last call, and all there are.

    Returns
    -------
    TravelReport
        ``ranked``, best first.

    Raises
    ------
    InputError
        If a value cannot be used.

    Notes
    -----
    The level is that of the take at the ear, unweighted; half as loud is 10 dB
    (ISO 532-1: a doubling of loudness is 10 phon).

    Examples
    --------
    >>> import presolder as ps
    >>> wanted = ps.turn_wanted("halfway at 5")
    >>> found = ps.travel("humbucker-500k", wanted, pots=[], topologies=["cap"])
    >>> round(found.now.miss_db)
    5
    """
    if judging.left_at is not None:
        raise InputError("left_at has no use here; wanted says which dials count")
    ears = asked_ears(asked_situations(rig), judging)
    found = ears[0].rig
    require_within([("top", top, 1, _MOST_SHOWN)])
    sold = pots_sold(found.volume)
    if pots is not None:
        named = (marked_pot(pot) if isinstance(pot, str) else pot for pot in pots)
        sold = tuple(dict.fromkeys((found.volume, *named)))
    shelf = _shelf(found, series, ("10k", "1M"), ("47p", "4n7"), None, None)
    shapes = _TURNING_SHAPES if topologies is None else _shapes(found, topologies, shelf)
    told = counted(progress, len(sold))
    return TravelReport(
        ears, wanted, fit_travel(ears, wanted, sold, shapes, shelf, progress=told), top
    )


def turn_wanted(text: str | os.PathLike[str]) -> Wanted:
    """Read what level is wanted over the dial.

    Parameters
    ----------
    text : str or path
        ``"halfway at 5"``: half as loud there; ``"usable from 3 to 30"``: evenly
        from 3 to 30 dB down over the turn; or a CSV file of dial,level_db.

    Returns
    -------
    Wanted

    Raises
    ------
    InputError
        If it cannot be read.

    Notes
    -----
    As for `travel`.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.turn_wanted("halfway at 5").level_db.round(1).tolist()[-1]
    -10.0
    """
    return read_wanted(os.fspath(text))


def _shelf(
    rig: Rig,
    series: str,
    resistors: tuple[Value, Value],
    capacitors: tuple[Value, Value],
    gangs: Iterable[Value] | None,
    stock: Stock | None,
) -> Shelf:
    """The parts to choose from."""
    if stock is not None:
        return _drawer(rig, stock, resistors, capacitors)
    return Shelf(
        tuple(Resistor(v) for v in _values(resistors, series, "ohm")),
        tuple(Capacitor(v) for v in _values(capacitors, series, "farad")),
        stock_gangs(rig.volume)
        if gangs is None
        else dual_pot_gangs(tuple(_component(value, "ohm") for value in gangs)),
    )


def _drawer(
    rig: Rig, stock: Stock, resistors: tuple[Value, Value], capacitors: tuple[Value, Value]
) -> Shelf:
    """What a drawer has enough of for every volume pot that gets the design."""
    pots = sum(one.auditioned for one in rig.volumes)
    pieces = {part: count // pots for part, count in stock.counts(rig.volume).items()}
    parts = [part for part, count in pieces.items() if count > 0]
    smallest, largest = _range(resistors, "ohm")
    least, most = _range(capacitors, "farad")
    ohms = sorted(
        p.ohms for p in parts if isinstance(p, Resistor) and smallest <= p.ohms <= largest
    )
    farads = sorted(
        p.farads for p in parts if isinstance(p, Capacitor) and least <= p.farads <= most
    )
    return Shelf(
        tuple(Resistor(value) for value in ohms),
        tuple(Capacitor(value) for value in farads),
        tuple(part for part in parts if isinstance(part, Gang)),
        pieces,
    )


def _shapes(rig: Rig, topologies: Iterable[DesignLike] | None, shelf: Shelf) -> tuple[Network, ...]:
    """Distinct topologies that the shelf has parts for."""
    shapes: dict[object, Network] = {}
    with place("topology"):
        for text in topologies or ():
            network = require_searchable(asked_design(text, rig))
            shapes.setdefault(canonical(network), network)
    asked = tuple(shapes.values()) or DEFAULT_SHAPES
    left = tuple(shape for shape in asked if combinations(shape, shelf) > 0)
    if not left:
        raise InputError(
            "there are no parts of a kind that these topologies need, such as second gangs"
        )
    return left


def _component(value: Value, unit: Unit) -> float:
    number = parse_quantity(value, unit)
    require_component("value", number, unit)
    return number


def _range(bounds: tuple[Value, Value], unit: Unit) -> tuple[float, float]:
    low, high = (_component(bound, unit) for bound in bounds)
    if low > high:
        raise InputError(f"{bounds[0]}:{bounds[1]} must be smallest:largest")
    return low, high


def _values(bounds: tuple[Value, Value], series: str, unit: Unit) -> Array:
    low, high = _range(bounds, unit)
    values = preferred_values(series, low, high)
    if values.size == 0:
        raise InputError(f"{bounds[0]}:{bounds[1]}: no {series} value lies between these")
    return values
