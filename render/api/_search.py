"""The searches: values for a bypass, and pots for a turn."""

import os
from collections.abc import Iterable
from dataclasses import replace

from presolder._asked import (
    AS_USUAL,
    DesignLike,
    Judging,
    Progress,
    SituationsLike,
    asked_design,
    asked_ears,
    asked_situations,
    counted,
)
from presolder.models.errors import InputError, place
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
from presolder.models.judging.recommendation import recommend
from presolder.models.judging.search import (
    Shelf,
    combinations,
    common_bounds,
    dual_pot_gangs,
    require_searchable,
    stock_gangs,
)
from presolder.models.judging.turn import Wanted, fit_travel, pots_sold
from presolder.models.typing import Array
from presolder.render.files.wanted import read_wanted
from presolder.render.report.search import SearchReport
from presolder.render.report.travel import TravelReport

Value = float | str
_MOST_SHOWN = 100
_ANY_VALUES = ("1k", "1M"), ("10p", "10n")
_TURNING_SHAPES = tuple(
    parse_expression(text)
    for text in ("1n", "1k + 1n", "1k || 1n", "gang(1k) + 1n", "gang(1k) || 1n")
)


def tailor(
    rig: SituationsLike,
    judging: Judging = AS_USUAL,
    *,
    series: str = "E12",
    topologies: Iterable[DesignLike] | None = None,
    resistors: tuple[Value, Value] | None = None,
    capacitors: tuple[Value, Value] | None = None,
    any_values: bool = False,
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
    resistors, capacitors : (smallest, largest), optional
        In ohms and farads, or as text. By default those of common practice: 47k to 470k,
        100p to 2n2, for pots of 250k to 1M.
    any_values : bool
        Whether it is 1k to 1M and 10p to 10n where nothing else is given.
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
    150k + 470p
    """
    ears = asked_ears(asked_situations(rig), judging)
    require_within([("top", top, 1, _MOST_SHOWN)])
    first = ears[0].rig
    shelf = _shelf(
        first,
        series,
        *_bounds(first, resistors, capacitors, any_values or stock is not None),
        gangs,
        stock,
    )
    shapes = _shapes(first, topologies, shelf)
    told = counted(progress, len(shapes))
    if stock is not None:
        # Judging what there is: its dual pots are no special order.
        ears = tuple(
            replace(ear, conditions=replace(ear.conditions, gangs_at_hand=shelf.gangs))
            for ear in ears
        )
    usual = topologies is None and stock is None
    found = recommend(ears, shapes, shelf, top=top, with_built_in=usual, progress=told)
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


def _bounds(
    rig: Rig,
    resistors: tuple[Value, Value] | None,
    capacitors: tuple[Value, Value] | None,
    any_values: bool,
) -> tuple[tuple[Value, Value], tuple[Value, Value]]:
    """Those given, or of common practice, or of all that is sold."""
    ohms, farads = _ANY_VALUES if any_values else common_bounds(rig.volume)
    return resistors or ohms, capacitors or farads


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
