"""How what was rendered sounds beside the bare pot, for people and programs."""

from collections.abc import Sequence
from typing import Any

from presolder.models.instrument.law import DIAL_MAX
from presolder.models.judging.beside import BesideBare
from presolder.render.report.table import Table

# Of all dials, those that a first look needs.
SHOWN_DIALS = (8.0, 6.0, 4.0)
BESIDE_EXPLAINED = (
    "Beside the bare pot at the same dial: phon louder, then dB brighter (below 0 duller) once both"
    " are as loud."
)


def beside_plain(found: BesideBare | None) -> dict[str, Any]:
    """For JSON."""
    if found is None:
        return {"beside_bare": [], "most_unlike_bare_at": None}
    return {
        "beside_bare": [
            # Adding 0 takes the sign from a rounded nought.
            {
                "dial": dial,
                "louder_phon": round(louder, 2) + 0.0,
                "brighter_db": round(brighter, 2) + 0.0,
            }
            for dial, louder, brighter in zip(
                found.dial.tolist(), found.louder_phon.tolist(), found.brighter_db.tolist(),
                strict=True,
            )
        ],
        "most_unlike_bare_at": found.most_unlike_at,
    }  # fmt: skip


def beside_table(what: str, entries: Sequence[tuple[str, dict[str, Any]]]) -> Table | None:
    """A row each of what was rendered, by its `beside_plain`; None where nothing was compared."""
    if not any(plain["beside_bare"] for _, plain in entries):
        return None
    there = sorted(
        {one["dial"] for _, plain in entries for one in plain["beside_bare"]}, reverse=True
    )
    shown = [dial for dial in SHOWN_DIALS if dial in there]
    if len(shown) < len(SHOWN_DIALS):
        shown = [dial for dial in there if dial < DIAL_MAX][: len(SHOWN_DIALS)]
    rows = []
    for name, plain in entries:
        at = {one["dial"]: one for one in plain["beside_bare"]}
        cells = (
            f"{at[dial]['louder_phon']:+.1f}, {at[dial]['brighter_db']:+.1f}" if dial in at else "-"
            for dial in shown
        )
        most = plain["most_unlike_bare_at"]
        rows.append((name, *cells, "" if most is None else f"{most:g}"))
    head = (what, *(f"at {dial:g}" for dial in shown), "differs most at")
    return Table(head, tuple(rows))
