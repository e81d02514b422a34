"""Hold advice to the trade on a grid of rigs, and count: tests/data/trade.csv.

``python docs/programs/make_trade.py``, with the test extra installed; takes half an hour on two
cores. ``make_validation.py`` puts the table into docs/validation.md.
"""

import csv
import os
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

# One thread each: the cases are spread over processes.
os.environ |= {"PRESOLDER_JOBS": "1", "OPENBLAS_NUM_THREADS": "1"}
ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "tools"))

from trade_grid import COUNT, broken_rules, grid, is_series

from ears import ear_of, need_of
from presolder.models.instrument.dirt import AnyKind, dirt_of
from presolder.models.instrument.player import PLAYING, Playing
from presolder.models.instrument.topologies import DEFAULT_SHAPES
from presolder.models.judging.recommendation import recommend
from presolder.models.judging.search import common_shelf

COUNTED = ROOT / "tests" / "data" / "trade.csv"
# Of the two dirts every fourth rig.
EVERY = 4
DIRTS: tuple[tuple[AnyKind | None, int], ...] = (
    (None, 1), ("smooth", EVERY), ("germanium-fuzz", EVERY)
)  # fmt: skip
COLUMNS = (
    "dirt", "input", "plays", "rigs", "no", "hardly", "probably", "yes", "series first",
    "other first", "rules broken", "searched", "contradictions",
)  # fmt: skip
Case = tuple[int, Playing, AnyKind | None]


def counted(case: Case) -> Counter[str]:
    """What is said of one guitar, and whether the search says otherwise."""
    at, plays, dirt = case
    rig = grid()[at]
    if dirt is not None:
        rig = replace(rig, dirt=dirt_of(dirt))
    ear = ear_of(rig, plays=plays)
    found = need_of(ear, ear.conditions.dials)
    first = found.first
    told = Counter({"rigs": 1, found.verdict: 1})
    if first is not found.bare:
        told["series first" if is_series(first) else "other first"] += 1
    told["rules broken"] += len(broken_rules(rig, plays, found))
    if plays != "full":
        told["searched"] += 1
        searched = recommend((ear,), DEFAULT_SHAPES, common_shelf(rig.volume), with_built_in=True)
        told["contradictions"] += searched.bare_comes_first != (first is found.bare)
    return told


def cases() -> Iterator[Case]:
    """All of the grid, each way of playing."""
    for dirt, step in DIRTS:
        for plays in PLAYING:
            for at in range(0, COUNT, step):
                yield at, plays, dirt


def main() -> None:
    """Count, and write what was counted."""
    wanted, rigs = list(cases()), grid()
    with get_context("fork").Pool() as pool:
        told = pool.map(counted, wanted, chunksize=4)
    sums: dict[tuple[str, str, str], Counter[str]] = {}
    for (at, plays, dirt), one in zip(wanted, told, strict=True):
        # A dirt has an input of its own.
        load = rigs[at].name.rpartition("into ")[2] if dirt is None else "the dirt's"
        sums.setdefault((dirt or "clean", load, plays), Counter()).update(one)
    with COUNTED.open("w", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(COLUMNS)
        for key, one in sums.items():
            rows.writerow((*key, *(one[name] for name in COLUMNS[3:])))


if __name__ == "__main__":
    main()
