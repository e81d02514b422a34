"""Draw the README's pictures: ``python docs/programs/make_pictures.py``."""

import math
from pathlib import Path

import matplotlib as mpl
import numpy as np

mpl.use("Agg")
import matplotlib.pyplot as plt

import presolder as ps
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.built_in import BUILT_IN
from presolder.render import plots
from presolder.render.files.rig_file import DEFAULT_RIG, find_rig
from presolder.render.plots.style import spread_apart

PICTURES = Path(__file__).parents[1] / "pictures"
CLEANING = ("bare", "120k + 680p", "120k || 680p")
SHOWN = ("bare", "cap-strong", "parallel-strong", "series-strong", "gang-series")
# Dark to light and distinct dashes, so that greyscale and colour-blind eyes can tell them apart.
STYLES = (
    ("#000000", "-"),
    ("#7a1f5c", "--"),
    ("#0b6e8f", "-."),
    ("#c2571a", "-"),
    ("#4b8b3b", "--"),
)


def draw_curves(folder: Path) -> None:
    """Frequency response of five designs at dial 10 and dial 4."""
    rig = find_rig(DEFAULT_RIG)
    frequency_hz = np.geomspace(80, 12_000, 300)
    figure, panels = plt.subplots(1, 2, figsize=(10, 4), sharey=True, layout="constrained")
    for panel, dial in zip(panels, (10.0, 4.0), strict=True):
        ends = []
        for name, (colour, dash) in zip(SHOWN, STYLES, strict=True):
            design = next(d for d in BUILT_IN if d.name == name)
            gain_db = decibels(
                transfer(chain_equations(rig, design.network), frequency_hz, dial)[0]
            )
            panel.semilogx(frequency_hz, gain_db, dash, color=colour, linewidth=1.8)
            ends.append((float(gain_db[-1]), name, colour))
        if dial == 10.0:
            ends = [(ends[0][0], "all designs", "#000000")]
        ends.sort()
        heights = spread_apart([height for height, *_ in ends], 3.2, math.inf)
        for height, (_, name, colour) in zip(heights, ends, strict=True):
            panel.annotate(
                name, (12_500, height), color=colour, fontsize=9, va="center", annotation_clip=False
            )
        panel.set_title(f"volume at {dial:g}", loc="left", fontsize=11)
        panel.set_xlabel("frequency, Hz")
        panel.set_xlim(80, 12_000)
        panel.set_xticks([100, 300, 1000, 3000, 10_000], ["100", "300", "1k", "3k", "10k"])
        panel.minorticks_off()
        panel.spines[["top", "right"]].set_visible(False)
        panel.grid(alpha=0.25)
    panels[0].set_ylabel("gain, pickup EMF to input, dB")
    panels[0].set_ylim(-50, 15)
    figure.savefig(folder / "curves.png", dpi=110)


def draw_cleanup(folder: Path) -> None:
    """Distortion against dial, by the command's own plot."""
    report = ps.cleanup(DEFAULT_RIG, CLEANING, dirt=ps.Stage("germanium-fuzz"))
    plots.plot_cleanup(
        folder / "cleanup.png", report.title, report.designs, report.figures, report.played,
        report.tone_hz,
    )  # fmt: skip


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    draw_curves(PICTURES)
    draw_cleanup(PICTURES)
