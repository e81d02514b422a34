"""What the bench's search says of many planted faults, counted, and as a table."""

from collections import Counter
from dataclasses import dataclass
from functools import cache

import numpy as np
from bench import (
    DIALS,
    GUITARS,
    Fault,
    guitar_of,
    heard,
    largest_change_db,
    planted_faults,
    played_again,
    responses,
    wobbling,
)

from presolder.models.measuring.diagnosis import Cause, Findings, culprits, foretold, judged

PLAYINGS = 5
GOOD_PLAYINGS = 40
# What moves no band of any take by this is within what a player's wobble hides.
SMALL_DB = 3.0
OUTCOMES = ("alone", "among others", "said to fit", "cannot tell", "others", "another alone")
# What the search calls each culprit that is not named alike: by its kinds.
_KINDS = {
    "swap": ("swapped",), "joined": ("joined",), "lugs": ("lugs",), "old": ("old",),
    "tone off": ("tone-off",), "missing": ("missing",),
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One kind of planted fault: how often each outcome, by guitars where it is large or small."""

    name: str
    large: Counter[str]
    small: Counter[str]


def is_it(planted: Fault, cause: Cause) -> bool:
    """Whether a named cause is the planted fault."""
    fault = cause.fault
    if planted.culprit == "R2 or C1":
        return fault.culprit in ("R2", "C1") and fault.kind in ("short", "value")
    if planted.culprit in _KINDS:
        return fault.kind in _KINDS[planted.culprit]
    return fault.culprit == planted.culprit


def outcome(planted: Fault, found: Findings) -> str:
    if found.verdict in ("fits", "cannot tell"):
        return "said to fit" if found.verdict == "fits" else "cannot tell"
    alone = len(culprits(found.causes)) == 1
    if any(is_it(planted, cause) for cause in found.causes):
        return "alone" if alone else "among others"
    return "another alone" if alone else "others"


@cache
def matrix(playings: int = PLAYINGS, *, with_spread: bool = False) -> tuple[Row, ...]:
    """Every planted fault in every guitar, played several times."""
    rows: dict[str, Row] = {}
    for guitar in range(len(GUITARS)):
        rig, network, old = guitar_of(guitar)
        told = foretold(rig, network, np.array(DIALS), old)
        for kind, planted in enumerate(planted_faults(rig, network, old)):
            row = rows.setdefault(planted.name, Row(planted.name, Counter(), Counter()))
            good = planted.name == "good"
            small = not good and largest_change_db(guitar, planted.name) < SMALL_DB
            for playing in range(GOOD_PLAYINGS if good else playings):
                random = np.random.default_rng((guitar, kind, playing))
                gains = responses(guitar, planted.name, playing if with_spread else None)
                found = judged(told, [heard(wobbling(gain, random)) for gain in gains])
                (row.small if small else row.large)[outcome(planted, found)] += 1
    return tuple(rows.values())


def in_noise(count: int, seed: int = 0) -> dict[str, Counter[str]]:
    """Guitars as a bench records them, every other one good: what is said of them.

    Of large faults it is told how often one is *passed over*: said to fit, and not
    named among what the takes do not tell.
    """
    random, said = (
        np.random.default_rng(seed),
        {"good": Counter(), "large": Counter(), "small": Counter()},
    )
    told = {}
    for number in range(count):
        guitar, spread = int(random.integers(len(GUITARS))), int(random.integers(1 << 20))
        rig, network, old = guitar_of(guitar)
        if guitar not in told:
            told[guitar] = foretold(rig, network, np.array(DIALS), old)
        kinds = tuple(planted_faults(rig, network, old))
        planted = kinds[0 if number % 2 == 0 else int(random.integers(1, len(kinds)))]
        gains = responses(guitar, planted.name, spread)
        noise_dbfs = float(random.uniform(-110.0, -60.0))
        found = judged(told[guitar], played_again(gains, random, noise_dbfs))
        if planted.name == "good":
            good = "called good" if found.verdict in ("fits", "cannot tell") else "called faulty"
            said["good"][found.verdict if good == "called good" else good] += 1
            continue
        changed = largest_change_db(guitar, planted.name, spread)
        size = "large" if changed >= SMALL_DB else "small"
        said[size][_in_noise(planted, found)] += 1
    return said


def _in_noise(planted: Fault, found: Findings) -> str:
    if found.verdict != "fits":
        return outcome(planted, found)
    words = [
        cause.fault.culprit if cause.fault.values else cause.fault.text
        for cause in found.tried
        if is_it(planted, cause)
    ]
    named = any(word in untold for word in words for untold in found.unseen)
    return "said to fit, and named" if named else "passed over"


def totals(rows: tuple[Row, ...]) -> Counter[str]:
    """Of all large faults, the good guitar left out."""
    return sum((row.large for row in rows if row.name != "good"), Counter())


def table(rows: tuple[Row, ...]) -> str:
    """The confusion table in Markdown."""
    lines = [
        f"| planted | {' | '.join(OUTCOMES)} | too small: said to fit | named |",
        f"|---|{'---:|' * (len(OUTCOMES) + 2)}",
    ]
    for row in rows:
        cells = [str(row.large[one] or "") for one in OUTCOMES]
        named = row.small["alone"] + row.small["among others"]
        cells += [str(row.small["said to fit"] or ""), str(named or "")]
        lines.append(f"| {row.name} | {' | '.join(cells)} |")
    whole = totals(rows)
    count = whole.total()
    shares = " | ".join(f"{100 * whole[one] / count:.1f} %" for one in OUTCOMES)
    lines.append(f"| **all {count} that are large enough** | {shares} | | |")
    return "\n".join(lines)
