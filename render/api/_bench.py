"""At the bench: what to solder, and whether the finished guitar fits."""

from collections.abc import Iterable, Mapping

import numpy as np

from presolder._asked import (
    AS_USUAL,
    DesignLike,
    Judging,
    RigLike,
    SituationsLike,
    TakeLike,
    asked_design,
    asked_ears,
    asked_rig,
    asked_situations,
    asked_take,
)
from presolder.models.audio.flaws import sounding
from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import require_dial
from presolder.models.instrument.stock import Stock
from presolder.models.judging.judged import judged
from presolder.models.judging.recommendation import usual_ones
from presolder.models.judging.verdict import needs
from presolder.models.measuring.diagnosis import verify as compare_takes
from presolder.models.measuring.third_octaves import spectrum
from presolder.render.report.orders import OrderList, order_list
from presolder.render.report.sheet import Sheet
from presolder.render.report.verify import VerifyReport


def sheet(
    rig: SituationsLike,
    design: DesignLike | None = None,
    judging: Judging = AS_USUAL,
    *,
    workshop: str = "",
) -> Sheet:
    """Say which parts to order and what to solder where.

    Parameters
    ----------
    rig : Rig, str, path or sequence of Situation
        As for `compare`; the ohmmeter's readings are of its first situation.
    design : Design or str, optional
        By default the one that `compare` ranks first of the built-in ones; that may
        be the bare pot, and then there is nothing to order.
    judging : Judging
        What it is judged by.
    workshop : str
        Who made the sheet.

    Returns
    -------
    Sheet
        ``page()`` is one side of A4 as HTML; prints as text. Unplug the
        guitar before soldering, and mind the cautions on it.

    Raises
    ------
    InputError
        If the rig or design cannot be used.

    Notes
    -----
    E series after IEC 60063; tolerances and cautions are common practice, no
    source.

    Examples
    --------
    >>> import presolder as ps
    >>> print(ps.sheet("humbucker-500k", "68k + 1n5").lines()[0])
    68k + 1n5  (for humbucker, 500k audio volume, 5.5 m cable, 1M input)
    """
    ears = asked_ears(asked_situations(rig), judging)
    usual = usual_ones(ears)
    best = usual[0]
    if design is not None:
        (best,) = judged(ears, (asked_design(design, ears[0].rig),))
    return Sheet(ears, best.design, best.figures, needs(ears, usual), workshop)


def verify(
    rig: RigLike, takes: Mapping[float, TakeLike], design: DesignLike = "bare"
) -> VerifyReport:
    """Compare takes of a finished guitar at several dials with the prediction.

    Parameters
    ----------
    rig : Rig or str
        As described before it was built; its ``[take]`` says into what the
        takes were recorded.
    takes : mapping of float to Take, path, or array and rate
        By dial, above 0: the same phrase, played alike. Silence at either end
        is left out; sample rates may differ.
    design : Design or str
        What was fitted. The rig's ``[take]`` says what was fitted before.

    Returns
    -------
    VerifyReport
        ``found.verdict``, and the faults that the takes do not reject.

    Raises
    ------
    InputError
        If a take or dial cannot be used.

    Notes
    -----
    Third octaves of IEC 61260-1 by Welch's method; misfit as chi-squared,
    rivals by likelihood ratio.

    Examples
    --------
    >>> import presolder as ps
    >>> takes = {10: ps.read("at-10.wav"), 6: ps.read("at-6.wav")}  # doctest: +SKIP
    >>> print(ps.verify("my-guitar.toml", takes, "68k + 1n5"))  # doctest: +SKIP
    """
    found = asked_rig(rig)
    chosen = asked_design(design, found)
    spectra = []
    for dial, take in ((dial, asked_take(given)) for dial, given in takes.items()):
        require_dial("dial", float(dial))
        if dial == 0:
            raise InputError("dial 0 is silent")
        with place(take.name):
            heard = sounding(take.samples, take.sample_rate_hz)
            spectra.append(spectrum(heard.mean(axis=0), take.sample_rate_hz))
    dials = np.array([float(dial) for dial in takes])
    findings = compare_takes(
        found.as_recorded, chosen.network, dials, spectra, old=found.take.network
    )
    return VerifyReport(found, chosen, findings)


def order(jobs: Iterable[tuple[RigLike, DesignLike]], stock: Stock | None = None) -> OrderList:
    """Add up what several jobs take, and look what of it the drawer has.

    Parameters
    ----------
    jobs : iterable of (rig, design)
        Each as elsewhere: itself, or by name, file or expression.
    stock : Stock, optional
        From `stock`.

    Returns
    -------
    OrderList
        ``lines_ordered`` has quantities, what is in stock and prices.

    Raises
    ------
    InputError
        If there are no jobs, or a design has nothing to solder.

    Notes
    -----
    Each value's series is the sparsest of IEC 60063 that has it.

    Examples
    --------
    >>> import presolder as ps
    >>> both = ps.order([("humbucker-500k", "120k + 470p"), ("two-pickups", "150k || 470p")])
    >>> [(line.order.quantity, line.order.what) for line in both.lines_ordered]
    [(1, 'resistor 120 kΩ'), (3, 'capacitor 470 pF'), (2, 'resistor 150 kΩ')]
    """
    asked = []
    for rig, design in jobs:
        found = asked_rig(rig)
        network = asked_design(design, found).network
        if network is None:
            raise InputError(f"{design} on {found.name} has nothing to solder")
        asked.append((found, network))
    if not asked:
        raise InputError("no jobs are given; at least one is needed")
    return order_list(asked, stock)
