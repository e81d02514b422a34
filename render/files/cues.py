"""Cue markers in a WAV file, as editors show them."""

import struct
from collections.abc import Sequence
from pathlib import Path

# Beyond it a WAV file's lengths do not fit, and it is written in another form.
_MOST_BYTES = 1 << 32


def write_cues(path: Path, cues: Sequence[tuple[int, str]]) -> None:
    """Add named markers to a WAV file that has none.

    Parameters
    ----------
    path : Path
        A RIFF file.
    cues : sequence of (int, str)
        Sample and name of each.

    Notes
    -----
    Chunks ``cue`` and ``LIST adtl labl`` of Microsoft and IBM, Multimedia Programming
    Interface and Data Specifications 1.0 (1991), chapter 3.
    """
    points = b"".join(
        struct.pack("<II4sIII", number, at, b"data", 0, 0, at)
        for number, (at, _) in enumerate(cues, start=1)
    )
    labels = b"".join(
        _chunk(b"labl", struct.pack("<I", number) + name.encode("ascii", "replace") + b"\0")
        for number, (_, name) in enumerate(cues, start=1)
    )
    added = _chunk(b"cue ", struct.pack("<I", len(cues)) + points)
    added += _chunk(b"LIST", b"adtl" + labels)
    with path.open("r+b") as file:
        head = file.read(4)
        size = file.seek(0, 2)
        if head != b"RIFF" or size + len(added) > _MOST_BYTES:
            return
        file.write(b"\0" * (size % 2) + added)
        whole = file.tell()
        file.seek(4)
        file.write(struct.pack("<I", whole - 8))


def _chunk(kind: bytes, body: bytes) -> bytes:
    """A chunk with its length, at an even one."""
    return kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)
