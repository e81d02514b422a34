"""What the rooms ask of a job and change in it, without the web around it."""

import re
import warnings
from collections.abc import Callable, Mapping
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from presolder.models.decibels import decibels
from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import Pickup
from presolder.models.instrument.quantities import parse_quantity
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.sine_sweep import before_db
from presolder.render.bench import jobs
from presolder.render.bench.asked import Asked
from presolder.render.bench.guitar import Field, answered, fields_of
from presolder.render.bench.tasks import LOOP, MADE_FILES, SWEEP
from presolder.render.files.rig_file import RIG_FILE, built_in_rigs

if TYPE_CHECKING:
    from presolder.render.files.take import Take
    from presolder.render.report.cable import CableReport
    from presolder.render.report.pickup import PickupReport
    from presolder.render.report.taper import TaperReport

_LONGEST_RIG = 250_000
_SWEPT = re.compile(rf"{LOOP}|sweep-\d+")
# Hum or noise so far under a sweep moves a pickup's inductance by 3 %. An interface that is less
# even than that may not be one alone (common practice, no source).
_LOUDEST_BEFORE_DB, _FLAT_DB = -20.0, 6.0
# What is warned of is caught for the whole process.
_doubting = Lock()


def entry(job: Path) -> dict[str, Any]:
    """A job in the list, its fault in place of what cannot be read."""
    try:
        version = jobs.newest(job)
        return jobs.plain(job, version, jobs.told_of(version))
    except InputError as error:
        return {"name": job.name, "title": job.name, "design": "", "archived": False,
                "error": str(error)}  # fmt: skip


def begun(bench: Path, asked: Asked) -> str:
    """Make a new job: ``title``, and ``from`` a rig or an earlier job, or ``answers``."""
    import presolder as ps  # noqa: PLC0415

    title, source = asked.text("title"), asked.text("from", "")
    there = jobs.jobs_in(bench) if bench.is_dir() else {}
    if source in built_in_rigs():
        rig = built_in_rigs()[source].read_text("utf-8")
    elif source in there:
        rig = jobs.newest(there[source]).rig
    elif source:
        raise InputError(f"from = {source!r}: is neither a guitar of this bench nor built in")
    else:
        rig = ps.starter(asked.named_texts("answers")).toml
    return jobs.begin(bench, title, rig)


def state(job: Path, version: jobs.Version, odd: str = "") -> dict[str, Any]:
    """All that the rooms show of a job without work."""
    fields: list[Field] = []
    told, fault = jobs.Told(), ""
    doubts: list[str] = []
    try:
        told = jobs.told_of(version)
        doubts = _doubts(job, version)
        fields = fields_of(version.rig)
    except (InputError, ValueError) as error:
        fault = str(error)
    return {
        **jobs.plain(job, version, told),
        "did": version.did,
        "undo": version.back is not None,
        "redo": version.forth is not None,
        "notes": told.notes,
        "workshop": told.workshop,
        "done": list(told.done),
        "readings": told.ohms_read,
        "toml": version.rig,
        "fields": [field.plain() for field in fields],
        "fault": fault,
        "doubts": doubts,
        "odd": odd,
        "takes": [path.stem for path in jobs.takes_of(job)],
        "earlier": [path.stem for path in jobs.takes_of(job) if jobs.earlier_of(path).is_file()],
        "stock": _drawer(job),
        "answer": (job / jobs.ANSWER_FILE).is_file(),
        "made": [name for name in MADE_FILES if (job / jobs.MADE / name).is_file()],
    }


def _drawer(job: Path) -> str:
    """The text of its drawer; empty where there is none."""
    path = job / jobs.STOCK_FILE
    return path.read_text("utf-8", errors="replace") if path.is_file() else ""


def _doubts(job: Path, version: jobs.Version) -> list[str]:
    """What is odd of a guitar."""
    with _doubting, warnings.catch_warnings(record=True) as odd:
        warnings.simplefilter("always")
        jobs.situations_of(job, version, as_given=False)
    where = f"{job / RIG_FILE} "
    return list(dict.fromkeys(str(one.message).removeprefix(where) for one in odd))


def changed(job: Path, asked: Asked) -> dict[str, Any]:
    """One answer, the whole text of the rig file, or what else is told of the job."""
    seen, odd = asked.whole("version"), ""
    if "key" in asked:
        before = jobs.newest(job)
        rig, did, odd = answered(before.rig, asked.text("key"), asked.text("answer"))
        version = jobs.change(job, seen, did, rig=rig)
    elif "toml" in asked:
        rig = asked.text("toml")
        if len(rig) > _LONGEST_RIG:
            raise InputError("toml: is too long")
        version = jobs.change(job, seen, "the rig file", rig=rig)
    elif "values" in asked:
        rig, done = jobs.newest(job).rig, []
        for key, value in asked.named_texts("values").items():
            rig, did, _ = answered(rig, key, value)
            done.append(did)
        version = jobs.change(job, seen, "; ".join(done), rig=rig)
    else:
        told = asked.entries("told")
        changed = jobs.told_of(jobs.newest(job)).changed(told)
        version = jobs.change(job, seen, ", ".join(map(str, told)), told=changed)
    return state(job, version, odd)


def looked_over(job: Path, place: Path, path: Path) -> dict[str, Any]:
    """What is to be said of a recording before anything is made of it."""
    import presolder as ps  # noqa: PLC0415
    from presolder.render.report.take import remarks  # noqa: PLC0415

    take = ps.read(path)
    rig = jobs.situations_of(job, jobs.newest(job))[0].rig
    peak_dbfs = round(float(decibels(np.abs(take.samples).max())), 1)
    told = {
        "seconds": round(take.duration_s, 2),
        "peak_dbfs": peak_dbfs,
        "remarks": list(remarks(take, rig)),
    }
    if place.name == SWEEP:
        return told
    swept = _SWEPT.fullmatch(place.stem)
    # A sweep stays at its own ceiling for a while at each low turn.
    if peak_dbfs >= 0 if swept else take.flaws.clipped_runs > 0:
        raise InputError(
            "the recording is clipped: turn the interface's gain down, and record again"
        )
    if swept:
        told["remarks"] = _of_a_sweep(job, place, take)
    return told


def _of_a_sweep(job: Path, place: Path, take: "Take") -> list[str]:
    """What a recorded sweep is like; what cannot be used is refused."""
    import presolder as ps  # noqa: PLC0415

    below_db = before_db(take.samples[0], take.sample_rate_hz)
    if below_db > _LOUDEST_BEFORE_DB:
        raise InputError(
            f"what came in before the sweep is only {-below_db:.0f} dB under it, hum or noise:"
            " turn the guitar away from transformers and screens, or the sweep up"
        )
    # Which says if it is torn.
    gain_db = ps.response_from_sweep(job / SWEEP, take, rising=False).gain_db
    if place.stem != LOOP:
        return []
    spread_db = float(np.ptp(gain_db))
    if spread_db <= _FLAT_DB:
        return [f"even within {spread_db:.1f} dB"]
    return [f"uneven by {spread_db:.1f} dB from 100 Hz to 16 kHz: is it a plain cable alone?"]


def parts_in(path: Path) -> dict[str, Any]:
    """How many kinds of part a drawer holds."""
    import presolder as ps  # noqa: PLC0415

    return {"parts": len(ps.stock(path).lines)}


def answer(path: Path) -> dict[str, Any]:
    """What a customer sent back."""
    from presolder.render.files.answers import read_answer  # noqa: PLC0415

    found = read_answer(path)
    return {"left_at": list(found.left_at), "favourite": found.favourite}


Found: TypeAlias = "tuple[TaperReport | PickupReport | CableReport, dict[str, str]]"


def measured(job: Path, asked: Asked) -> dict[str, Any]:
    """What readings of a meter tell of the guitar, and what the form would have by them.

    ``what`` is ``jack`` with ``ohms`` by dial, ``resonance`` with ``bare_hz``, ``loaded_hz`` and
    ``added``, or ``cable`` with ``cable_hz``, ``loaded_hz`` and ``added``.
    """
    what, version = asked.text("what"), jobs.newest(job)
    if what not in _MEASURED:
        raise InputError(f"what = {what!r}: {', '.join(_MEASURED)} is wanted")
    form = {one.key: one.value for one in fields_of(version.rig)}
    report, values = _MEASURED[what](jobs.situations_of(job, version)[0].rig, form, asked)
    coils = (key for key in form if key.startswith("pickup") and key.endswith(".resistance"))
    first = next(coils, "").removesuffix("resistance")
    renamed = {key.replace("pickup.", first): value for key, value in values.items()}
    return {
        "said": report.lines(),
        "values": {key: value for key, value in renamed.items() if key in form},
    }


def _by_ohms(_rig: Rig, _form: Mapping[str, str], asked: Asked) -> Found:
    """The volume pot and the winding."""
    import presolder as ps  # noqa: PLC0415

    ohms = {_plain_number(at): _ohms(read) for at, read in asked.named_texts("ohms").items()}
    report = ps.taper_at_jack(ohms)
    track = report.track
    values = {"volume.resistance": f"{track.track_ohms / 1e3:.4g}k"}
    if track.taper.kind != "measured":
        values["volume.taper"] = track.taper.kind
    if track.winding_ohms is not None:
        values["pickup.resistance"] = f"{track.winding_ohms / 1e3:.4g}k"
    return report, values


def _by_resonances(rig: Rig, _form: Mapping[str, str], asked: Asked) -> Found:
    """The first pickup."""
    import presolder as ps  # noqa: PLC0415

    winding = rig.first.pickup
    if not isinstance(winding, Pickup):
        raise InputError("what = 'resonance': this guitar's first pickup is no coil")
    bare_hz, loaded_hz = (_plain_number(asked.text(key)) for key in ("bare_hz", "loaded_hz"))
    report = ps.coil_from_readings(winding.resistance_ohms, bare_hz, loaded_hz, _farads(asked))
    coil = report.coil.pickup
    return report, {
        "pickup.inductance": f"{coil.inductance_henries:.4g} H",
        "pickup.capacitance": f"{coil.capacitance_farads * 1e12:.4g}p",
    }


def _by_the_cable(rig: Rig, form: Mapping[str, str], asked: Asked) -> Found:
    """What a metre of the cable has."""
    import presolder as ps  # noqa: PLC0415

    heard = (("cable_hz", 0.0), ("loaded_hz", _farads(asked)))
    read = [
        ps.Resonance(_plain_number(asked.text(key)), ps.Hung(True, farads)) for key, farads in heard
    ]
    report = ps.cable_from_readings(rig, read)
    per_m = form.get("cable.picofarads_per_m", "")
    if not (per_m and rig.cable_farads > 0):
        return report, {}
    share = report.cable.farads / rig.cable_farads
    return report, {"cable.picofarads_per_m": f"{float(per_m) * share:.4g}"}


_MEASURED: dict[str, Callable[[Rig, Mapping[str, str], Asked], Found]] = {
    "jack": _by_ohms, "resonance": _by_resonances, "cable": _by_the_cable,
}  # fmt: skip


def _plain_number(text: str) -> float:
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise InputError(f"{text!r}: a number is wanted") from None


def _ohms(text: str) -> float:
    return parse_quantity(text, "ohm")


def _farads(asked: Asked) -> float:
    with place("added"):
        return parse_quantity(asked.text("added"), "farad")


def reading(job: Path, asked: Asked) -> dict[str, Any]:
    """What an ohm reading says of the work at one step of a design's sheet."""
    import presolder as ps  # noqa: PLC0415
    from presolder.models.instrument.built_in import for_rig  # noqa: PLC0415
    from presolder.render.report.soldering import pot_blocks  # noqa: PLC0415

    pot, at, text = asked.whole("pot"), asked.whole("step"), asked.text("ohms")
    rig = jobs.situations_of(job, jobs.newest(job))[0].rig
    blocks = pot_blocks(rig, for_rig(ps.design(asked.text("design")), rig).network)
    if not (0 <= pot < len(blocks) and 0 <= at < len(blocks[pot].steps)):
        raise InputError(f"step = {at}: the sheet has none")
    open_ = text.strip().lower() in ("open", "ol", "o.l", "inf", "∞")
    ohms = float("inf") if open_ else _ohms(text)
    return {"said": blocks[pot].steps[at].said_of(ohms)}


def ordered(bench: Path) -> dict[str, Any]:
    """What to order for all jobs that have a design and are not put away."""
    import presolder as ps  # noqa: PLC0415

    wanted: list[tuple[Rig, str]] = []
    whose: list[str] = []
    for path in jobs.jobs_in(bench).values():
        version = jobs.newest(path)
        told = jobs.told_of(version)
        if told.design and not told.archived:
            wanted.append((jobs.situations_of(path, version)[0].rig, told.design))
            whose.append(told.title or path.name)
    return {"guitars": whose, **(ps.order(wanted).plain() if wanted else {"orders": []})}
