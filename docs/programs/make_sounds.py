"""Make the README's sounds: ``python docs/programs/make_sounds.py``.

Each is the knob held at 7, and then going from 10 to 4: the same take through the plain pot, a
capacitor, and a resistor with a capacitor, at one gain.
"""

from pathlib import Path

import numpy as np

import presolder as ps
from presolder.models.decibels import amplitude, decibels
from presolder.models.typing import Array
from presolder.render.files.mp3 import mp3_of

SOUNDS = Path(__file__).parents[1] / "sounds"
DESIGNS = {"plain": "bare", "one-part": "cap", "two-parts": "series-strong"}
HELD_AT, HELD_SECONDS = 7, 4.8
GAP_SECONDS, PEAK_DBFS = 0.4, -1.0


def sounds() -> dict[str, Array]:
    """Each by its file's name, shape (n,), at the take's rate."""
    rig = ps.rig("humbucker-500k", captured="string")
    take = ps.sample("chords", "lead")
    chosen = list(DESIGNS.values())
    held = ps.render(take, rig, chosen, ps.turn(HELD_AT, HELD_AT, travel=HELD_SECONDS, rest=0))
    swept = ps.render(take, rig, chosen, ps.turn(10, 4, travel=8, rest=0.8))
    gap = np.zeros(round(GAP_SECONDS * take.sample_rate_hz))
    made = {
        name: np.concatenate([held[design][0], gap, swept[design][0]])
        for name, design in DESIGNS.items()
    }
    peak = max(float(np.abs(one).max()) for one in made.values())
    gain = amplitude(PEAK_DBFS - float(decibels(peak)))
    return {name: gain * one for name, one in made.items()}


if __name__ == "__main__":
    SOUNDS.mkdir(exist_ok=True)
    rate = ps.sample("chords").sample_rate_hz
    for name, audio in sounds().items():
        frames = np.round(audio * 32767).astype(np.int16)[:, np.newaxis]
        (SOUNDS / f"{name}.mp3").write_bytes(mp3_of(frames, rate))
