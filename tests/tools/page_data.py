"""Data for a page's engine, of our own."""

import base64
import io
from typing import Any

import numpy as np
import soundfile

from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array
from presolder.render.listening.live import circuit_plain, design_parts
from takes import SAMPLES

TEXTS = (None, "68k + (220k || 1n5)", "gang(500k, audio, zero) + 150p")
DESIGNS = tuple(
    Design(str(i), None if text is None else parse_expression(text)) for i, text in enumerate(TEXTS)
)


def as_flac(audio: Array, rate: int) -> str:
    file = io.BytesIO()
    soundfile.write(file, audio, rate, format="FLAC", subtype="PCM_24")
    return base64.b64encode(file.getvalue()).decode()


def of_rig(rig: Rig, designs: tuple[Design, ...] = DESIGNS) -> dict[str, Any]:
    """What a page's data say of a rig, all designs as loud as each other."""
    return {
        "circuits": [circuit_plain(rig, design.network) for design in designs],
        "designs": [design_parts(rig, design.network) for design in designs],
        "levelDb": [[-20.0] * 160] * len(designs),
        "cable": rig.cable_farads,
        "amplifier": {
            "ohms": min(rig.load.resistance_ohms, 1e9), "farads": rig.load.capacitance_farads,
        },
    }  # fmt: skip


def loop(rate: int, seconds: float) -> Array:
    take, own = soundfile.read(SAMPLES / "chords.flac")
    emf = take[own : own + round(seconds * rate)]
    emf = emf * np.hanning(emf.size) ** 0.1
    return np.asarray(np.round(0.9 * emf / np.abs(emf).max() * 2**23) / 2**23)
