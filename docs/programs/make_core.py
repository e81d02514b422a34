"""Compile the core for pages and for machines without a compiler: ``models/core/core.wasm``.

    python docs/programs/make_core.py [PLACE]

By the compiler that the package ziglang holds, of one version, so that whoever
runs this gets the same bytes; `tests/audio/test_core.py` does.
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PLACE = ROOT / "models" / "core" / "core.wasm"
FLAGS = (
    "--target=wasm32-freestanding", "-mcpu=generic+simd128+bulk_memory", "-O3", "-std=gnu11",
    "-fno-math-errno", "-Wno-psabi", "-nostdlib", "-s", "-Wl,--no-entry",
    "-Wl,-z,stack-size=65536",
)  # fmt: skip


def compiled(place: Path = PLACE) -> None:
    """Write the module."""
    command = [sys.executable, "-m", "ziglang", "cc", *FLAGS, "models/loops.c", "-o", str(place)]
    subprocess.run(command, cwd=ROOT, check=True)


if __name__ == "__main__":
    compiled(*map(Path, sys.argv[1:2]))
