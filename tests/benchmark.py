"""How fast it is: whole commands on one core and on all, and the renderer beside a static filter.

Run as ``python tests/benchmark.py``; it prints numbers and asserts nothing. With
``--beside PYTHON`` the commands of another installation, such as an older one's,
are timed in turn with this one's, so that both meet the same machine.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy.signal
import soundfile

import presolder as ps
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.renderer import Renderer
from presolder.models.instrument.built_in import BUILT_IN
from presolder.render.files.rig_file import find_rig

RATE, SECONDS = 48_000, 60
TURN = ("--travel", str(SECONDS - 2), "--rest", "1")


# A process of its own, since a child's memory counts from its parent's.
LAUNCHER = """
import json, os, subprocess, sys, time
cores, *command = sys.argv[1:]
if json.loads(cores):
    os.sched_setaffinity(0, json.loads(cores))
began = time.perf_counter()
process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
_, status, used = os.wait4(process.pid, 0)
assert status == 0
taken = time.perf_counter() - began
print(json.dumps([taken, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024]))
"""


@dataclass(frozen=True)
class Cost:
    """Of one process: seconds by the clock and on processors, and megabytes at most."""

    elapsed_s: float
    processor_s: float
    megabytes: float


def take() -> np.ndarray:
    noise = np.random.default_rng(0).normal(size=RATE * SECONDS)
    b, a = scipy.signal.butter(2, [80, 4000], "bandpass", fs=RATE)
    audio = scipy.signal.lfilter(b, a, noise)
    return np.asarray(0.8 * audio / np.abs(audio).max())


def cost(python: str, words: tuple[str, ...], cores: set[int] | None) -> Cost:
    """Run a command once."""
    # As installed: Python keeps what it compiles.
    environment = {key: value for key, value in os.environ.items() if "BYTECODE" not in key}
    words = (json.dumps(sorted(cores or ())), python, "-m", "presolder", *words)
    told = subprocess.run(
        [sys.executable, "-c", LAUNCHER, *words], env=environment,
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, check=True,
    ).stdout  # fmt: skip
    return Cost(*json.loads(told.splitlines()[-1]))


def compare_commands(pythons: list[str], folder: Path, runs: int) -> None:
    """Each command so many times, the installations in turn; the median of each figure."""
    di = folder / "di.wav"
    soundfile.write(di, take(), RATE, "PCM_24")
    one_design = ("render", str(di), "--design", "series-parallel", *TURN)
    commands: dict[str, tuple[tuple[str, ...], set[int] | None]] = {
        "render, one design, one core": (one_design, {0}),
        "render, fifteen designs": (("render", str(di), *TURN), None),
        "render into a curve": ((*one_design, "--dirt", "diodes"), {0}),
        "render into a circuit": (
            ("render", str(di), "--design", "bare", "--travel", "8", "--dirt", "germanium-fuzz"),
            None,
        ),
        "demo --pack, one core": (("demo", "--pack"), {0}),
        "demo --pack, all cores": (("demo", "--pack"), None),
        "need": (("need",), {0}),
        "tailor": (("tailor",), None),
    }
    print(f"{'':31}{'elapsed':>9}{'processor':>11}{'memory':>9}   x real time")
    for name, (words, cores) in commands.items():
        out = words[0] in ("render", "demo")
        costs: dict[str, list[Cost]] = {python: [] for python in pythons}
        for run in range(runs):
            for at, python in enumerate(pythons):
                place = ("--out", str(folder / f"{words[0]}-{run}-{at}"), "--force") if out else ()
                costs[python].append(cost(python, (*words, *place), cores))
        for python, each in costs.items():
            elapsed, processor, megabytes = (
                statistics.median(getattr(one, figure) for one in each)
                for figure in ("elapsed_s", "processor_s", "megabytes")
            )
            speed = f"{SECONDS / elapsed:8.0f}" if words == one_design else ""
            label = name if python == pythons[0] else "   beside it"
            print(f"{label:31}{elapsed:7.2f} s{processor:9.2f} s{megabytes:6.0f} MB{speed}")


def inside(audio: np.ndarray, runs: int) -> None:
    """Tables, filters and one design's audio, beside three static sections, in turn."""
    path = KnobPath((0.0, 1.0, SECONDS - 1.0, SECONDS), (10.0, 10.0, 0.0, 0.0))
    sections = scipy.signal.butter(6, 5000, fs=RATE, output="sos")
    ours, static = [], []
    for _ in range(runs):
        began = time.perf_counter()
        renderer = Renderer(find_rig("humbucker-500k"), BUILT_IN[1:2], RATE)
        for _ in renderer.along(path, audio[np.newaxis]):
            pass
        ours.append(time.perf_counter() - began)
        began = time.perf_counter()
        scipy.signal.sosfilt(sections, audio)
        static.append(time.perf_counter() - began)
    print(
        f"inside the process: {statistics.median(ours):.3f} s, least {min(ours):.3f} s; three"
        f" static sections: {statistics.median(static):.3f} s, least {min(static):.3f} s;"
        f" {statistics.median(ours) / statistics.median(static):.1f} times, at least"
        f" {min(ours) / min(static):.1f}"
    )


def streamed(audio: np.ndarray, runs: int) -> None:
    """A guitar played in blocks of 64 while its knob turns, from the strings and from the jack."""
    size = 64
    for captured in ("string", "jack"):
        stream = ps.stream(ps.rig("humbucker-500k", captured=captured), "series", RATE)
        taken = []
        for _ in range(runs):
            began = time.perf_counter()
            for first in range(0, 8 * RATE - size, size):
                stream.process(audio[first : first + size], 5.0 + 4e-6 * first)
            taken.append(time.perf_counter() - began)
        print(f"in blocks of {size}, from the {captured}: {8 / min(taken):.0f} times real time")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--beside", metavar="PYTHON", help="of another installation")
    parser.add_argument("--runs", type=int, default=5)
    asked = parser.parse_args()
    pythons = [sys.executable] + ([asked.beside] if asked.beside else [])
    inside(take(), 2 * asked.runs)
    streamed(take(), asked.runs)
    with tempfile.TemporaryDirectory() as folder:
        compare_commands(pythons, Path(folder), asked.runs)


if __name__ == "__main__":
    main()
