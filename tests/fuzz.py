"""Put hostile inputs into every reader and the command line, as many as a night allows.

Run as ``python tests/fuzz.py --inputs 1000000``; it prints a table. What breaks the
contract of `tests/tools/fuzzing.py` is shrunk by hypothesis and kept under
`tests/data/finds/`, where the suite tries it again for ever. Each target runs in a
process that may take 4 GB.
"""

import argparse
import hashlib
import json
import multiprocessing
import os
import random
import resource
import sys
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, seed, settings

sys.path[:0] = [str(Path(__file__).resolve().parent / "tools")]

from fuzzing import FINDS, TARGETS  # noqa: E402

MEMORY_BYTES = 4 * 2**30
# Between two of these the seed changes, so that a find ends no more than its own batch.
BATCH = 2000
_BATCHES_OF_A_PROCESS = 10
# Of each line of a find's story: what was put in may be megabytes.
_LONGEST_LINE = 200


def kept(name: str, content: Any) -> Path:
    """A find, as a file that `tests/files/test_fuzz.py` reads."""
    text = json.dumps(content) if isinstance(content, list) else content
    data = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    path = FINDS / name / hashlib.sha256(data).hexdigest()[:10]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def batch(name: str, count: int, number: int) -> tuple[str, int, str]:
    """Some inputs for one target: how many went in, and what was found."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    target, tried, last = TARGETS[name], 0, None

    @seed(number)
    @settings(
        max_examples=count, deadline=None, database=None, suppress_health_check=list(HealthCheck)
    )
    @given(target.inputs)
    def one(content: Any) -> None:
        nonlocal tried, last
        tried, last = tried + 1, content
        target.enter(content)

    try:
        one()
    except Exception:
        told = [line[:_LONGEST_LINE] for line in traceback.format_exc(limit=-3).splitlines()]
        return name, tried, "\n".join([str(kept(name, last)), *told])
    return name, tried, ""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(2**32))
    parser.add_argument("--only", default="", help="targets, by commas")
    parser.add_argument(
        "--seconds", type=float, default=float("inf"), help="begin none after so long"
    )
    parser.add_argument("--at-once", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    names = asked.only.split(",") if asked.only else list(TARGETS)
    shares = sum(TARGETS[name].share for name in names)
    work = []
    for name in names:
        left = -(-asked.inputs * TARGETS[name].share // shares)
        while left > 0:
            work.append((name, min(left, BATCH), len(work) + asked.seed))
            left -= BATCH
    random.Random(asked.seed).shuffle(work)
    tried, finds = dict.fromkeys(names, 0), dict.fromkeys(names, 0)
    began = time.monotonic()
    # New processes now and then, by a pool of their own: one that replaces its processes itself
    # hangs when the last is to be replaced (Python issue 115634).
    lot = _BATCHES_OF_A_PROCESS * asked.at_once
    for first in range(0, len(work), lot):
        if time.monotonic() - began > asked.seconds:
            break
        with ProcessPoolExecutor(asked.at_once, multiprocessing.get_context("spawn")) as pool:
            for name, count, found in pool.map(
                batch, *zip(*work[first : first + lot], strict=True)
            ):
                tried[name] += count
                if found:
                    finds[name] += 1
                    print(found, file=sys.stderr)
    print(f"seed {asked.seed}, {time.monotonic() - began:.0f} s\n")
    print("| target | inputs | finds |\n|---|---|---|")
    for name in names:
        print(f"| {name} | {tried[name]:,} | {finds[name]} |")
    print(f"| all | {sum(tried.values()):,} | {sum(finds.values())} |")
    return 1 if any(finds.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
