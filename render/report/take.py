"""What there is to say about a take before it is used."""

import numpy as np

from presolder.models.audio.take import LARGEST_LIFT_DB, largest_lift
from presolder.models.instrument.rig import Rig
from presolder.render.files.audio import Recording


def remarks(take: Recording, rig: Rig) -> tuple[str, ...]:
    """Warnings, one a line.

    Parameters
    ----------
    take : Recording
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
