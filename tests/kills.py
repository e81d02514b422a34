"""Stop commands by signals at random instants, and see what they leave behind.

Run as ``python tests/kills.py --kills 350``; it prints a table. Stopped by SIGINT, SIGTERM
or SIGHUP, even three times in a row, a run may leave nothing, or all of what was asked for if
it had come to its end, and says no more than one line and hints. After SIGKILL the next run
into the same place must clear away what was left and do its own work. Of a batch, jobs that
were done stay, and nothing else.
"""

import argparse
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from presolder.render.files.record import RECORD

ROOT = Path(__file__).resolve().parent.parent
TAKE = ROOT / "samples" / "phrase.flac"
JOBS = ROOT / "tests" / "data" / "kills.toml"
# Each as far as the option that takes the place of its output.
COMMANDS = {
    "render": ("render", TAKE, "--travel", "20", "--out"),
    "render, fuzz": (
        "render", TAKE, "--travel", "2", "--design", "cap", "--dirt", "silicon-fuzz", "--out",
    ),
    "pack": ("pack", TAKE, "--design", "bare", "--design", "cap", "--hold", "8,4", "--out"),
    "pack, M4A": (
        "pack", TAKE, "--design", "cap", "--hold", "8,4", "--listening", "m4a", "--out",
    ),
    "tailor": ("tailor", "--topology", "91k + 820p", "--plot"),
    "curves": ("curves", "--csv"),
    "batch": ("batch", JOBS, "--out"),
}  # fmt: skip
# How often, and what; as a user does who is impatient, too.
SIGNALS = {
    "SIGINT": [signal.SIGINT],
    "SIGINT, three": [signal.SIGINT] * 3,
    "SIGTERM": [signal.SIGTERM],
    "SIGHUP": [signal.SIGHUP],
    "SIGKILL": [signal.SIGKILL],
}
# What they end with; a file is whole as it appears, and a batch may end after any job.
_LAST = {
    "render": "manifest.json", "pack": "pack.json", "tailor": "", "curves": "", "batch": "jobs",
}  # fmt: skip
_OUT = {"tailor": "out.svg"}
_PATIENCE_SECONDS = 120.0


def started(words: tuple[object, ...], out: Path, scratch: Path) -> subprocess.Popen[str]:
    """Begin a run in a session of its own."""
    command = [sys.executable, "-m", "presolder", *map(str, (*words, out))]
    return subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        env=os.environ | {"TMPDIR": str(scratch)}, start_new_session=True,
    )  # fmt: skip


def orphans(session: int) -> int:
    """Processes of a session that are still there, given a moment to end."""
    for _ in range(20):
        listed = subprocess.run(
            ["ps", "-o", "stat=", "-s", str(session)], capture_output=True, text=True, check=False
        ).stdout
        alive = [line for line in listed.split("\n") if line and not line.startswith("Z")]
        if not alive:
            return 0
        time.sleep(0.1)
    return len(alive)


def stopped(name: str, kind: str, after_s: float, folder: Path) -> list[str]:
    """Stop one run; what is wrong with what it leaves, and "hit" if it was still at work."""
    out, scratch = folder / _OUT.get(name, "out"), folder / "scratch"
    scratch.mkdir()
    running = started(COMMANDS[name], out, scratch)
    time.sleep(after_s)
    for number in SIGNALS[kind]:
        running.send_signal(number)
        time.sleep(0.01)
    _, errors = running.communicate(timeout=_PATIENCE_SECONDS)
    status = running.returncode
    found = ["hit"] if status else []
    if orphans(running.pid):
        found.append("orphan")
    whole = (out / _LAST[name.partition(",")[0]]).exists()
    if out.exists() and not whole:
        found.append("part of the output")
    if kind == "SIGKILL":
        force = ["--force"] if whole and name != "batch" else []
        command, *words = COMMANDS[name]
        again = started((command, *force, *words), out, scratch)
        _, errors = again.communicate(timeout=_PATIENCE_SECONDS)
        if again.returncode:
            found.append(f"next run: {errors}")
    # Before the interpreter has got to our first line, its own words and status are all there are.
    expected = (0, 128 + SIGNALS[kind][0], -SIGNALS[kind][0])
    if re.search("presolder[:/]", errors) and (status not in expected or "Traceback" in errors):
        found.append(f"status {status}: {errors}")
    left = [path.name for path in folder.iterdir() if path not in (out, scratch)]
    left += [path.name for path in scratch.iterdir()]
    if out.is_dir():
        hidden = (path for path in out.rglob("*") if path.name.startswith("."))
        left += [path.name for path in hidden if path.name != RECORD]
        left += [path.name for path in (out / "jobs").glob("*.claim*")]
    return [*found, *(["left behind"] if left else [])]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--only", default=",".join(name.replace(",", "") for name in COMMANDS), help="by commas"
    )
    asked = parser.parse_args()
    names = [name for name in COMMANDS if name.replace(",", "") in asked.only.split(",")]
    drawn = random.Random(asked.seed)
    lasts = {}
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            began = time.monotonic()
            started(COMMANDS[name], Path(folder) / f"{name}.svg", Path(folder)).communicate()
            lasts[name] = time.monotonic() - began
    both = [(name, kind) for name in names for kind in SIGNALS]
    counts = {pair: Counter[str]() for pair in both}
    wrong = 0
    for number in range(asked.kills):
        name, kind = pair = both[number % len(both)]
        with tempfile.TemporaryDirectory() as folder:
            after_s = drawn.uniform(0.0, lasts[name])
            found = stopped(name, kind, after_s, Path(folder))
        counts[pair].update(["all", *found])
        if amiss := [one for one in found if one != "hit"]:
            wrong += 1
            print(f"{name}, {kind} after {after_s:.3f} s: {'; '.join(amiss)}", file=sys.stderr)
    print("| command | signal | runs | stopped before the end | something amiss |")
    print("|---|---|---|---|---|")
    for (name, kind), count in counts.items():
        amiss = sum(number for word, number in count.items() if word not in ("all", "hit"))
        print(f"| {name} | {kind} | {count['all']} | {count['hit']} | {amiss} |")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
