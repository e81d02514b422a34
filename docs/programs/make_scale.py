"""Measure how cost grows with audio, designs, dials and jobs, and draw it: docs/scale.md.

Run as ``python docs/programs/make_scale.py``; takes half an hour and 10 GB of disk.
``--draw`` draws again what was measured.
"""

import argparse
import csv
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import matplotlib as mpl
import numpy as np
import soundfile
from matplotlib.figure import Figure

DOCS = Path(__file__).parents[1]
MEASURED = DOCS / "pictures" / "scale.csv"
PICTURE = DOCS / "pictures" / "scale.svg"
RATE = 48_000
SHORT = DOCS.parent / "samples" / "phrase.flac"
DESIGNS = tuple(f"{100 + 10 * i}k || {560 + 40 * i}p" for i in range(10))
KINDS = {
    "audio": "hours of audio made",
    "designs": "designs, of 10 min each",
    "dials": "dials of a pack",
    "jobs": "short renders of a batch",
}


def cost(words: list[str]) -> tuple[float, float, float]:
    """Seconds by the clock and on processors, and megabytes at most, of a command.

    Of memory what is its own: not files that are mapped, which the system takes back at will.
    """
    began, most = time.perf_counter(), 0.0
    process = subprocess.Popen(
        [sys.executable, "-m", "presolder", *words], stdout=subprocess.DEVNULL
    )
    while True:
        done, status, used = os.wait4(process.pid, os.WNOHANG)
        if done:
            break
        most = max(most, own_megabytes(process.pid))
        time.sleep(0.02)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, words
    return time.perf_counter() - began, used.ru_utime + used.ru_stime, most


def own_megabytes(process: int) -> float:
    """Anonymous memory of a process, as Linux tells it; 0 when it has just ended."""
    told = Path(f"/proc/{process}/status").read_text("utf-8")
    return sum(
        int(line.split()[1]) / 1024 for line in told.splitlines() if line.startswith("RssAnon")
    )


def render(folder: Path, minutes: int, designs: int) -> tuple[float, float, float]:
    """What sweeps of so many designs cost; nothing of them is kept."""
    di = folder / f"{minutes}.flac"
    if not di.exists():
        noise = np.random.default_rng(0)
        with soundfile.SoundFile(di, "w", RATE, 1, "PCM_16") as file:
            for _ in range(minutes):
                file.write(0.1 * noise.normal(size=60 * RATE))
    words = ["render", str(di), "--rig", "humbucker-500k", "--travel", str(60 * minutes)]
    for design in DESIGNS[:designs]:
        words += ["--design", design]
    out = folder / "out"
    found = cost([*words, "--rest", "0", "--bits", "16", "--force", "--out", str(out)])
    for path in sorted(out.rglob("*"), reverse=True):
        path.unlink() if path.is_file() else path.rmdir()
    return found


def pack(folder: Path, dials: int) -> tuple[float, float, float]:
    """What a pack of so many held positions costs."""
    held = ",".join(f"{10 - 0.75 * i:g}" for i in range(dials))
    words = ["pack", str(SHORT), "--rig", "humbucker-500k", "--hold", held, "--force"]
    return cost([*words, "--out", str(folder / "pack.zip")])


def batch(folder: Path, jobs: int) -> tuple[float, float, float]:
    """What so many short renders cost; memory is that of the one that lists them."""
    file, out = folder / f"{jobs}.toml", folder / f"batch-{jobs}"
    # Ever a hundred takes at most in one table, and as many tables as that wants.
    takes = [folder / f"take-{i}.flac" for i in range(min(jobs, 100))]
    for take in takes:
        shutil.copy(SHORT, take)
    file.write_text(
        "\n".join(
            f'[[job]]\nname = "{i}"\ncommand = "render"\nrigs = ["humbucker-500k"]\n'
            f"takes = {json.dumps([one.name for one in takes])}\n"
            f'designs = ["cap"]\noptions = {{ travel = 0.5, rest = {0.1 + 1e-3 * i:.3f} }}\n'
            for i in range(jobs // len(takes))
        ),
        encoding="utf-8",
    )
    found = cost(["batch", str(file), "--out", str(out)])
    shutil.rmtree(out)
    return found


def measure() -> None:
    """Measure all, and keep it."""
    rows: list[tuple[str, float, float, float, float]] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for minutes, designs in ((1, 1), (6, 1), (20, 1), (60, 1), (60, 2), (60, 5), (60, 10)):
            rows.append(("audio", minutes * designs / 60, *render(folder, minutes, designs)))
        for designs in (1, 2, 4, 7, 10):
            rows.append(("designs", designs, *render(folder, 10, designs)))
        for dials in (1, 2, 4, 8, 12):
            rows.append(("dials", dials, *pack(folder, dials)))
        for jobs in (2, 10, 100, 1000, 10_000):
            rows.append(("jobs", jobs, *batch(folder, jobs)))
    with MEASURED.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["kind", "count", "elapsed_s", "processor_s", "megabytes"])
        writer.writerows([kind, *(f"{value:.4g}" for value in rest)] for kind, *rest in rows)


def draw() -> None:
    """Draw what was measured, with a straight line through it."""
    mpl.rcParams |= {"svg.hashsalt": "scale", "font.size": 9}
    with MEASURED.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    figure = Figure(figsize=(9, 6), layout="constrained")
    for axes, (kind, label) in zip(figure.subplots(2, 2).flat, KINDS.items(), strict=True):
        mine = [row for row in rows if row["kind"] == kind]
        count, seconds, memory = (
            np.array([float(row[name]) for row in mine])
            for name in ("count", "processor_s", "megabytes")
        )
        # Of audio, a take counts once and each of its designs besides; takes last up to an hour.
        columns = [np.ones(count.size), count]
        if kind == "audio":
            columns.append(np.minimum(count, 1.0))
        # By relative error, since the largest is not to rule the rest.
        table = np.stack(columns, axis=1)
        terms = np.linalg.lstsq(table / seconds[:, None], np.ones(count.size), rcond=None)[0]
        axes.plot(count, table @ terms, color="0.6", lw=1, label="straight, as above")
        axes.plot(count, seconds, "o", color="C0", label="processor time")
        axes.set(xlabel=label, ylabel="s of processor", ylim=(0, None), xlim=(0, None))
        said = f"{terms[0]:.2g} s + {terms[1]:.3g} s each"
        if kind == "audio":
            said += f" + {terms[2]:.3g} s an hour of takes"
        axes.set_title(said, fontsize=9)
        beside = axes.twinx()
        beside.plot(count, memory, "s", color="C1", ms=4, label="memory (right)")
        beside.set(ylabel="MB at most", ylim=(0, max(400.0, 1.1 * memory.max())))
    named = {line.get_label(): line for axes in figure.axes for line in axes.get_lines()}
    figure.legend(handles=list(named.values()), loc="outside lower center", ncols=3, frameon=False)
    figure.savefig(PICTURE, metadata={"Date": None})


def main() -> None:
    """Do what is asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draw", action="store_true", help="draw what was measured before")
    if not parser.parse_args().draw:
        measure()
    draw()


if __name__ == "__main__":
    main()
