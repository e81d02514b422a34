"""What there is to say about a take before it is used."""

from typing import Any

import numpy as np

from presolder.models.audio.emf import NULL_BANDS_HZ
from presolder.models.audio.flaws import LARGEST_LIFT_DB, largest_lift
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array
from presolder.render.files.take import Take
from presolder.render.report.numbers import rounded

# Above which what is left of a take with nothing changed is worth a word; common practice, no
# source.
_NULLS_DB = -80.0


def remarks(take: Take, rig: Rig) -> tuple[str, ...]:
    """Warnings, one a line.

    Parameters
    ----------
    take : Take
    rig : Rig
        Tells how the take was made.
    """
    found = take.flaws
    said = []
    if found.clipped_runs:
        said.append(
            f"the take is clipped in {found.clipped_runs} places; its crackle goes through every"
            " design, so record it lower"
        )
    if np.isfinite(found.dc_db):
        said.append(f"the take has DC, {-found.dc_db:.0f} dB under its peak")
    if np.isfinite(found.hum_db):
        said.append(
            f"the take has mains hum at {found.hum_hz:g} Hz, {-found.hum_db:.0f} dB under the"
            " whole; it is turned down with the knob, and up where its chain is taken away"
        )
    if found.short_s is not None:
        said.append(f"the take is {found.short_s:.1f} s long: too short to judge much by")
    lift_db, hz = largest_lift(rig)
    if lift_db > LARGEST_LIFT_DB:
        said.append(
            f"taking away what the take was recorded through lifts {hz:.0f} Hz by {lift_db:.0f} dB"
            " over 500 Hz, and the take's noise with it; record with volume and tone at 10"
        )
    return tuple(said)


def null_plain(null_db: Array | None) -> list[dict[str, Any]] | None:
    """For JSON: how well a take nulls, band by band."""
    if null_db is None:
        return None
    return [
        {"from_hz": low, "to_hz": high, "left_db": rounded(float(left), 1)}
        for (low, high), left in zip(NULL_BANDS_HZ, null_db, strict=True)
    ]


def null_remark(bands: list[dict[str, Any]] | None) -> str | None:
    """A warning where a take would not come out as it went in, from `null_plain`."""
    worst = max(bands or [], key=lambda band: float(band["left_db"]), default=None)
    if worst is None or worst["left_db"] <= _NULLS_DB:
        return None
    return (
        f"what the take was recorded through cannot all be taken away: from {worst['from_hz']:g} to"
        f" {worst['to_hz']:g} Hz it is {worst['left_db']:.0f} dB off; record with volume and tone"
        " at 10"
    )
