"""The curves command's numbers: as CSV rows, as a table for the terminal, and as JSON."""

import csv
from collections.abc import Iterator
from typing import Any, TextIO

import numpy as np
from numpy.typing import NDArray

from presolder.models.character import character
from presolder.models.circuit import describe
from presolder.models.network import Design, format_network
from presolder.models.response import decibels, transfer
from presolder.models.rig import Rig
from presolder.models.tolerance import Bands, narrowed_deviation_db
from presolder.render.levels import finite

COLUMNS = ("design", "dial", "frequency_hz", "gain_db", "phase_deg")
# A capacitor of tight tolerance is worth its price from this much; common practice, no source.
_WORTH_DB = 0.3
_TIGHTER = 0.05
_DIAL_WIDTH, _BAND_WIDTH = 8, 24


def write_curves(
    file: TextIO,
    rig: Rig,
    designs: tuple[Design, ...],
    dials: NDArray[np.float64],
    frequency_hz: NDArray[np.float64],
) -> None:
    """Write one row per design, dial and frequency.

    Parameters
    ----------
    file : text file
        Where to write.
    rig : Rig
        The instrument and what it feeds.
    designs : tuple of Design
        Bypass networks.
    dials : ndarray, shape (d,)
        Dial positions.
    frequency_hz : ndarray, shape (f,)
        Frequencies.

    Notes
    -----
    Gain is from the pickup's EMF to the output, ``-inf`` where the output is
    exactly silent (dial 0); phase is in -180 to 180 degrees.
    """
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(COLUMNS)
    for design in designs:
        response = transfer(describe(rig, design.network), frequency_hz, dials)
        gain_db, phase_deg = decibels(response), np.angle(response, deg=True)
        for i, dial in enumerate(dials):
            for j, frequency in enumerate(frequency_hz):
                writer.writerow(
                    (
                        design.name,
                        f"{dial:g}",
                        f"{frequency:.10g}",
                        f"{gain_db[i, j]:.6f}",
                        f"{phase_deg[i, j]:.6f}",
                    )
                )


def in_words(
    rig: Rig,
    designs: tuple[Design, ...],
    dials: NDArray[np.float64],
    spreads: list[Bands] | None,
) -> Iterator[str]:
    """Lines of a table: level and treble of each design at each dial, against dial 10."""
    curves = [character(rig, design.network, dials) for design in designs]
    width = _DIAL_WIDTH if spreads is None else _BAND_WIDTH
    head = "".join(f"{f'at {dial:g}':>{width}}" for dial in dials)
    for what, values, drawn in (
        ("level at 500 Hz, dB", [c.level_db for c in curves], [b.level_db for b in spreads or []]),
        ("treble at 2-4 kHz against 500 Hz, dB", [c.treble_db for c in curves],
         [b.treble_db for b in spreads or []]),
    ):  # fmt: skip
        yield f"{what} (dial 10 is 0)"
        yield f"{'':18}{head}"
        for i, design in enumerate(designs):
            if spreads is None:
                cells = [f"{value:{width}.1f}" for value in values[i]]
            else:
                cells = [
                    f"{f'{value:.1f} ({low:.1f} to {high:.1f})':>{width}}"
                    for value, low, high in zip(values[i], drawn[i][0], drawn[i][2], strict=True)
                ]
            yield f"{design.name:18}{''.join(cells)}"
        yield ""
    for design, spread in zip(designs, spreads or [], strict=False):
        yield from _what_matters(design, spread)


def _what_matters(design: Design, spread: Bands) -> Iterator[str]:
    yield f"{design.name}: what makes two builds differ, level / treble"
    order = np.argsort(-spread.treble_share, kind="stable")
    for i in order:
        part = spread.parts[i]
        yield (
            f"    {part.name:22}{100 * spread.level_share[i]:4.0f} %"
            f"{100 * spread.treble_share[i]:6.0f} %"
        )
    verdict = tighter_capacitor(spread)
    if verdict is not None:
        now, then, worth = verdict
        yield (
            f"    A {100 * _TIGHTER:g} % capacitor instead: treble within ±{2 * then:.1f} dB"
            f" instead of ±{2 * now:.1f} dB; {'worth it' if worth else 'not worth paying for'}."
        )


def tighter_capacitor(spread: Bands) -> tuple[float, float, bool] | None:
    """Treble deviation now and with a 5 % capacitor, and whether that is worth it.

    None if there is no capacitor, or it is that good already.
    """
    loose = [part.spread for part in spread.parts if part.kind == "capacitor"]
    if not loose or loose[0] <= _TIGHTER:
        return None
    now = spread.treble_deviation_db
    then = narrowed_deviation_db(spread, "capacitor", loose[0], _TIGHTER)
    return now, then, 2 * (now - then) >= _WORTH_DB


def as_json(
    rig: Rig,
    designs: tuple[Design, ...],
    dials: NDArray[np.float64],
    frequency_hz: NDArray[np.float64],
    spreads: list[Bands] | None,
) -> dict[str, Any]:
    """Everything as plain values; silence is null."""
    entries = []
    for i, design in enumerate(designs):
        with np.errstate(invalid="ignore"):  # silence at dial 0 has no treble
            curve = character(rig, design.network, dials)
        response = transfer(describe(rig, design.network), frequency_hz, dials)
        entries.append(
            {
                "design": design.name,
                "expression": format_network(design.network) or None,
                "level_db": finite(curve.level_db),
                "treble_db": finite(curve.treble_db),
                "gain_db": [finite(row) for row in decibels(response)],
                "phase_deg": [finite(row) for row in np.angle(response, deg=True)],
                "tolerance": None if spreads is None else _spread_json(spreads[i]),
            }
        )
    return {
        "rig": rig.name,
        "dials": finite(dials),
        "frequency_hz": [round(float(f), 6) for f in frequency_hz],
        "designs": entries,
    }


def _spread_json(spread: Bands) -> dict[str, Any]:
    verdict = tighter_capacitor(spread)
    return {
        "dials": finite(spread.dial),
        "level_db": dict(zip(("p5", "p50", "p95"), map(finite, spread.level_db), strict=True)),
        "treble_db": dict(zip(("p5", "p50", "p95"), map(finite, spread.treble_db), strict=True)),
        "parts": [
            {
                "part": part.name,
                "kind": part.kind,
                "spread": part.spread,
                "level_share": round(float(level), 4),
                "treble_share": round(float(treble), 4),
            }
            for part, level, treble in zip(
                spread.parts, spread.level_share, spread.treble_share, strict=True
            )
        ],
        "treble_deviation_db": round(spread.treble_deviation_db, 4),
        "treble_deviation_with_5_percent_capacitor_db": (
            None if verdict is None else round(verdict[1], 4)
        ),
    }
