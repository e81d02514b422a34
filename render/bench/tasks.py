"""What takes its time: each works on a job's folder, in a process of its own.

A task gets what a page asks, reads the folder's newest version, and gives back what the command
of its name prints with ``--json``; what it makes goes into the folder.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import presolder as ps
from presolder._asked import for_samples
from presolder.models.errors import InputError, place
from presolder.models.instrument.built_in import BUILT_IN
from presolder.models.instrument.instrument import Situation, find_situation
from presolder.models.instrument.quantities import parse_quantity
from presolder.models.judging.turn import wanted_through
from presolder.render.bench import jobs
from presolder.render.bench.asked import Asked
from presolder.render.files.answers import read_answer
from presolder.render.files.folder import new_file

Progress = Callable[[int, int], None]
PAGE, SHEET, PACK, SWEEP, LOOP = "listen.html", "sheet.html", "pack.zip", "sweep.wav", "loop"
MADE_FILES = (PAGE, SHEET, PACK)
_TAKE = "chords"
# Of the page to listen with: the bare pot and the best of a few topologies.
_MOST_TO_HEAR = 6


def _guitar(job: Path, asked: Asked) -> tuple[jobs.Version, tuple[Situation, ...]]:
    """The newest version, and the guitar in one situation or in all."""
    version = jobs.newest(job)
    found = jobs.situations_of(job, version)
    wanted = asked.text("situation", "")
    return version, (find_situation(found, wanted),) if wanted else found


def need(job: Path, asked: Asked, _told: Progress) -> dict[str, Any]:
    """Whether a bypass helps."""
    return ps.need(_guitar(job, asked)[1]).plain()


def compare(job: Path, asked: Asked, _told: Progress) -> dict[str, Any]:
    """The built-in designs, and the chosen one beside them."""
    version, guitar = _guitar(job, asked)
    designs = [*(one.name for one in BUILT_IN), *jobs.told_of(version).designs]
    return ps.compare(guitar, dict.fromkeys(designs)).plain()


def tailor(job: Path, asked: Asked, told: Progress) -> dict[str, Any]:
    """Search values that can be bought, or that are in the drawer."""
    drawer = job / jobs.STOCK_FILE
    stock = ps.stock(drawer) if asked.flag("stock") and drawer.is_file() else None
    judging = ps.Judging()
    if asked.flag("answer"):
        judging = ps.Judging(left_at=read_answer(job / jobs.ANSWER_FILE).left_at)
    return ps.tailor(_guitar(job, asked)[1], judging, stock=stock, progress=told).plain()


def travel(job: Path, asked: Asked, told: Progress) -> dict[str, Any]:
    """Pot and parts that make the knob turn as it was drawn: ``points``, dial and decibels."""
    wanted = wanted_through(asked.pairs("points"), "drawn by hand")
    return ps.travel(_guitar(job, asked)[1], wanted, progress=told).plain()


def curves(job: Path, asked: Asked, told: Progress) -> dict[str, Any]:
    """Level and treble over the dial, and what the spread of real parts does to them."""
    version, guitar = _guitar(job, asked)
    designs, dials = jobs.told_of(version).designs, [10, 9, 8, 7, 6, 5, 4, 3, 2, 1]
    return ps.curves(guitar[0].rig, designs, dials, spread=ps.Spread(), progress=told).plain()


def listen(job: Path, asked: Asked, told: Progress) -> dict[str, Any]:
    """The page to listen with, of some designs."""
    version, guitar = _guitar(job, asked)
    wanted = [*jobs.told_of(version).designs, *asked.texts("designs")]
    designs = list(dict.fromkeys(wanted))[:_MOST_TO_HEAR]
    contents = ps.Contents(single_file=True, allow_large=True)
    ps.pack(
        _made(job) / PAGE, *_played(job, asked, guitar), designs if len(designs) > 1 else None,
        contents, force=True, progress=told,
    )  # fmt: skip
    return {"made": PAGE}


def pack(job: Path, asked: Asked, told: Progress) -> dict[str, Any]:
    """What the customer gets."""
    version, guitar = _guitar(job, asked)
    about = jobs.told_of(version)
    designs = list(dict.fromkeys(["bare", about.design or "series", *asked.texts("designs")]))
    contents = ps.Contents(light=asked.flag("light"), workshop=about.workshop)
    made = ps.pack(
        _made(job) / PACK, *_played(job, asked, guitar), designs, contents,
        force=True, progress=told,
    )  # fmt: skip
    return {"made": PACK, "first": made["first"]}


def sheet(job: Path, asked: Asked, _told: Progress) -> dict[str, Any]:
    """Parts, wiring and readings of the chosen design."""
    version, guitar = _guitar(job, asked)
    about = jobs.told_of(version)
    found = ps.sheet(guitar, about.design or None, workshop=about.workshop)
    with new_file(_made(job) / SHEET, force=True) as scratch:
        scratch.write_text(found.page(), encoding="utf-8")
    return {**found.plain(), "svg": str(found.svg), "made": SHEET}


def pickup(job: Path, asked: Asked, told: Progress) -> dict[str, Any]:
    """Fit the pickup to recorded sweeps: ``recorded``, a list of take and what hung on the jack.

    With ``loop`` they are held against what the interface alone made of the sweep.
    """
    _, guitar = _guitar(job, asked)
    played, responses = ps.read(_of(job, LOOP) if asked.flag(LOOP) else job / SWEEP), []
    for one in asked.several("recorded"):
        added = one.text("added", "")
        with place("added"):
            farads = parse_quantity(added, "farad") if added else 0.0
        heard = ps.read(_of(job, one.text("take")))
        found = ps.response_from_sweep(played, heard, farads)
        responses.append(replace(found, dial=one.number("dial", 10.0)))
    rig = guitar[0].rig
    if asked.flag("at_jack"):
        return ps.rig_from_responses(rig, responses, progress=told).plain()
    ohms = parse_quantity(asked.text("resistance"), "ohm")
    return ps.coil_from_responses(ohms, responses).plain()


def verify(job: Path, asked: Asked, _told: Progress) -> dict[str, Any]:
    """Compare recordings at several dials with the prediction: ``takes``, by dial."""
    version, guitar = _guitar(job, asked)
    try:
        by_dial = {float(dial): _of(job, take) for dial, take in asked.named_texts("takes").items()}
    except ValueError:
        raise InputError("takes: dials are numbers") from None
    about = jobs.told_of(version)
    found = ps.verify(guitar[0].rig, by_dial, asked.text("design", "") or about.design or "bare")
    return {**found.plain(), "said": found.lines()}


TASKS: dict[str, Callable[[Path, Asked, Progress], dict[str, Any]]] = {
    task.__name__: task
    for task in (need, compare, tailor, travel, curves, listen, pack, sheet, pickup, verify)
}  # fmt: skip


def _played(
    job: Path, asked: Asked, guitar: tuple[Situation, ...]
) -> tuple[ps.Take, tuple[Situation, ...]]:
    """What is played, one of the job's takes or the bundled one, and the guitar for it."""
    name = asked.text("take", "")
    if not name:
        return ps.sample(_TAKE), tuple(map(for_samples, guitar))
    return ps.read(_of(job, name)), guitar


def _of(job: Path, name: str) -> Path:
    """One of the job's takes."""
    found = {path.stem: path for path in jobs.takes_of(job)}
    if name not in found:
        raise InputError(f"take = {name!r}: this job has {', '.join(found) or 'none'}")
    return found[name]


def _made(job: Path) -> Path:
    folder = job / jobs.MADE
    folder.mkdir(exist_ok=True)
    return folder
