"""Speed and memory of one design over 60 s of 48 kHz mono, the whole command included.

Run as ``python tests/benchmark.py``; it prints numbers and asserts nothing.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import scipy.signal
import soundfile

RATE, SECONDS = 48_000, 60


def take() -> np.ndarray:
    noise = np.random.default_rng(0).normal(size=RATE * SECONDS)
    b, a = scipy.signal.butter(2, [80, 4000], "bandpass", fs=RATE)
    audio = scipy.signal.lfilter(b, a, noise)
    return np.asarray(0.8 * audio / np.abs(audio).max())


def command(di: Path, out: Path, *extra: str) -> float:
    start = time.perf_counter()
    subprocess.run(
        [
            sys.executable,
            "-m",
            "presolder.render",
            "render",
            di,
            "--design",
            "series-parallel",
            "--travel",
            str(SECONDS - 2),
            "--rest",
            "1",
            "--out",
            out,
            *extra,
        ],
        check=True,
        capture_output=True,
    )
    return time.perf_counter() - start


def main() -> None:
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {0})
    audio = take()
    with tempfile.TemporaryDirectory() as folder:
        di = Path(folder) / "di.wav"
        soundfile.write(di, audio, RATE, "PCM_24")
        times = [command(di, Path(folder) / f"out{i}") for i in range(4)]
        dirty = min(command(di, Path(folder) / f"dirt{i}", "--dirt", "diodes") for i in range(3))
        fuzzy = [
            command(di, Path(folder) / f"fuzz{i}", "--dirt", "germanium-fuzz") for i in range(3)
        ]
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "presolder.render", "tailor"], check=True, stdout=subprocess.DEVNULL
    )
    print(f"tailor, whole command, E12, 15 topologies {time.perf_counter() - start:6.2f} s")
    print(f"render, first run   {times[0]:6.2f} s  {SECONDS / times[0]:6.0f} x real time")
    best = min(times[1:])
    print(f"render, later runs  {best:6.2f} s  {SECONDS / best:6.0f} x real time")
    print(f"render with dirt    {dirty:6.2f} s  {SECONDS / dirty:6.0f} x real time")
    fuzz = min(fuzzy)
    print(f"render with a fuzz  {fuzz:6.2f} s  {SECONDS / fuzz:6.1f} x real time")
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"peak memory         {peak:6.0f} MB")
    sections = scipy.signal.butter(6, 5000, fs=RATE, output="sos")
    start = time.perf_counter()
    scipy.signal.sosfilt(sections, audio)
    elapsed = time.perf_counter() - start
    print(
        f"sosfilt, 3 sections {elapsed:6.2f} s  {SECONDS / elapsed:6.0f} x real time (call alone)"
    )


if __name__ == "__main__":
    main()
