"""Write docs/validation.md from the checks that the tests run.

``python docs/programs/make_validation.py``, with the test extra and ngspice installed.
"""

import csv
import sys
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")
import matplotlib.pyplot as plt

DOCS = Path(__file__).parents[1]
sys.path.insert(0, str(DOCS.parent / "tests" / "tools"))

from checks import CHECKS, rows_of
from checks_simulator import spice_ac_errors, spice_transient_errors
from validation_page import PAGE, table

HEAD = """# Checked against the outside world

Made by `docs/programs/make_validation.py` from the same checks that the tests run; a test fails when these numbers are out of date. "From memory" marks a book or standard that was cited without the page at hand; "common practice, no source" marks what the trade takes for granted.

"""
TAIL = """
## Against the circuit simulator, knob at rest

The netlists are written from the description of rig and network by code of their own. Each grey line is one case, the black line the worst.

![Gain error by frequency](pictures/validation-ac.png)

## Against the circuit simulator, knob moving

The simulator has a step error of its own. Halving its step from 1/8 to 1/16 of an audio sample shows how large it is (where the step is what matters, it falls fourfold, 12 dB); extrapolating it away leaves the difference that counts.

![Relative difference by simulator step](pictures/validation-moving.png)
"""
TRADE = """
## Against the trade

Common practice, no source: 200 rigs of usual values, each way of playing (of the two dirts every fourth rig), by `docs/programs/make_trade.py`. A series pair is a resistor in series with a capacitor, or that with a small one across. The rules that none may break stand in `tests/tools/trade_grid.py`; a contradiction is a search that puts something before the bare pot where `need`, `compare`, `sheet` and the page do not, or the other way round. Where a row has few, physics and trade part: see [how designs are judged](figures.md#the-order-and-when-nothing-helps).

"""


def trade_table() -> str:
    """What advice on the grid came to."""
    with (DOCS.parent / "tests" / "data" / "trade.csv").open(newline="") as file:
        head, *rows = csv.reader(file)
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


def draw_ac() -> None:
    """Gain error of every case by frequency."""
    frequency_hz, gain, _ = spice_ac_errors()
    figure, axes = plt.subplots(figsize=(8, 3.4), layout="constrained")
    axes.loglog(frequency_hz, gain.T + 1e-12, color="0.7", linewidth=0.6)
    axes.loglog(frequency_hz, gain.max(axis=0) + 1e-12, color="black", linewidth=1.6)
    axes.axhline(0.02, color="#c2571a", linestyle="--")
    axes.annotate("limit", (22, 0.026), color="#c2571a")
    axes.set_xlabel("frequency, Hz")
    axes.set_ylabel("gain difference, dB")
    axes.set_xlim(20, 20_000)
    axes.spines[["top", "right"]].set_visible(False)
    figure.savefig(DOCS / "pictures" / "validation-ac.png", dpi=110)


def draw_moving() -> None:
    """Difference at two simulator steps and extrapolated, one line a case."""
    figure, axes = plt.subplots(figsize=(8, 3.6), layout="constrained")
    labels = ("step 1/8 sample", "step 1/16 sample", "extrapolated")
    for i, (name, errors) in enumerate(spice_transient_errors().items()):
        axes.plot(labels, errors, marker="osd^vx"[i], color=str(0.1 * i), label=name)
    axes.axhline(-60, color="#c2571a", linestyle="--")
    axes.annotate("limit", (0, -59), color="#c2571a")
    axes.set_ylabel("relative RMS difference, dB")
    axes.legend(frameon=False, fontsize=8, loc="center left", bbox_to_anchor=(1, 0.5))
    axes.spines[["top", "right"]].set_visible(False)
    figure.savefig(DOCS / "pictures" / "validation-moving.png", dpi=110)


def main() -> None:
    """Write the page and its pictures."""
    rows = [row for check in CHECKS for row in rows_of(check)]
    whole = HEAD + table(rows) + "\n" + TRADE + trade_table() + TAIL
    PAGE.write_text(whole, encoding="utf-8")
    draw_ac()
    draw_moving()
    print(table(rows))


if __name__ == "__main__":
    main()
