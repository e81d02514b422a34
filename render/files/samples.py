"""The recordings that come with the package."""

from importlib import resources
from pathlib import Path

import numpy as np

from presolder.models.audio.ends import faded
from presolder.models.errors import InputError
from presolder.models.instrument.rig import Captured
from presolder.render.files.audio import read_recording
from presolder.render.files.take import Take

# How each was made, the ones to listen to first.
SAMPLES: dict[str, Captured] = {
    "chords": "string", "lead": "string", "muted": "string", "phrase": "jack", "string": "string",
}  # fmt: skip
# All are whole bars of it.
BAR_SECONDS = 2.4


def read_sample(name: str) -> Take:
    """Load one of them.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    if name not in SAMPLES:
        raise InputError(f"sample {name!r} is unknown; one of {', '.join(SAMPLES)}")
    return read_recording(Path(str(resources.files("presolder.samples").joinpath(f"{name}.flac"))))


def read_in_turn(names: tuple[str, ...]) -> Take:
    """Load some of them as one take: a bar of each in turn, until the longest is over.

    Raises
    ------
    InputError
        If there is none of a name, or they were not all recorded at the same place.
    """
    takes = [read_sample(name) for name in names]
    if len({SAMPLES[name] for name in names}) > 1:
        raise InputError(f"samples {' and '.join(names)} were not recorded at the same place")
    if len(takes) == 1:
        return takes[0]
    rate = takes[0].sample_rate_hz
    bar = round(BAR_SECONDS * rate)
    bars = [np.split(take.samples, take.samples.shape[1] // bar, axis=1) for take in takes]
    # Notes ring over the bar line, where they are cut.
    pieces = [
        piece
        for at in range(max(map(len, bars)))
        for own in bars
        for piece in faded([own[at % len(own)]], bar, rate)
    ]
    return Take(np.concatenate(pieces, axis=1), rate, " and ".join(names))
