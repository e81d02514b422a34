"""The recordings that come with the package."""

from importlib import resources
from pathlib import Path

from presolder.models.errors import InputError
from presolder.render.files.audio import read_recording
from presolder.render.files.take import Take

SAMPLES = ("phrase", "string", "chords")


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
