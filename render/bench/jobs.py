"""A guitar on the bench: a folder whose every change is kept, so that nothing is lost.

``rig.toml`` is the guitar and who plays it, ``job.toml`` what was decided and done, ``history``
every version of the two. A version comes to be at once or not at all, and never twice, whoever
else writes: its file is linked into place, which only the first one can; the two files follow
while nobody else is at it.
"""

import json
import os
import re
import shutil
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from presolder.models.errors import InputError, place
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.quantities import parse_quantity
from presolder.render.files.designs import resolve_design
from presolder.render.files.folder import file_stems, new_file
from presolder.render.files.owner import holding
from presolder.render.files.rig_file import RIG_FILE, read_rig_text
from presolder.render.files.scratch import unique_name
from presolder.render.files.toml import Section, parse_toml, read_text

JOB_FILE = "job.toml"
TAKES, MADE, STOCK_FILE, ANSWER_FILE = "takes", "made", "stock.csv", "answer.json"
EARLIER = "earlier"
_HISTORY = "history"
# How many versions are kept; fifty steps back are promised.
_KEPT = 200
_PATIENCE_S, _EVERY_S = 10.0, 0.002
_LONGEST_NOTES, _LONGEST_LINE, _MOST_ENTRIES = 20_000, 200, 500
_NUMBERED = re.compile(r"(\d{6,})\.json")


class OutrunError(InputError):
    """Somebody else changed the job first."""


@dataclass(frozen=True)
class Told:
    """What is known of a job besides its guitar.

    Attributes
    ----------
    title, notes : str
    design : str
        The one chosen, in the notation of designs; empty until one is.
    workshop : str
        Whose name stands on the sheet.
    done : tuple of str
        Steps of the sheet that were ticked.
    readings : tuple of str
        ``step=ohms``, as they were read.
    archived : bool
    """

    title: str = ""
    notes: str = ""
    design: str = ""
    workshop: str = ""
    done: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()
    archived: bool = False

    def __post_init__(self) -> None:
        for name in ("title", "design", "workshop"):
            _require_line(name, getattr(self, name))
        if len(self.notes) > _LONGEST_NOTES:
            raise InputError(f"notes: has {len(self.notes)} characters; at most {_LONGEST_NOTES}")
        for name in ("done", "readings"):
            entries = getattr(self, name)
            if len(entries) > _MOST_ENTRIES:
                raise InputError(f"{name}: has {len(entries)} entries; at most {_MOST_ENTRIES}")
            for entry in entries:
                _require_line(name, entry)
        for step, ohms in self.ohms_read.items():
            with place(f"the reading {step!r}"):
                if not parse_quantity(ohms, "ohm") >= 0:
                    raise InputError(f"{ohms!r} must not be below 0")

    @property
    def ohms_read(self) -> dict[str, str]:
        """What was read at each step, as it was typed."""
        pairs = (entry.partition("=") for entry in self.readings)
        return {step: ohms for step, _, ohms in pairs}

    @property
    def designs(self) -> list[str]:
        """The bare pot, and the one chosen."""
        return list(dict.fromkeys(["bare", *([self.design] if self.design else [])]))

    def changed(self, changes: Mapping[str, object]) -> "Told":
        """The same with some entries changed.

        Raises
        ------
        InputError
            If there is no such entry, or it cannot be so.
        """
        whole = {**asdict(self), **changes}
        section = Section(JOB_FILE, {k: _plain(v) for k, v in whole.items() if v is not None})
        return _told(section)


@dataclass(frozen=True)
class Version:
    """A state of a job.

    Attributes
    ----------
    number : int
    rig, job : str
        The texts of the two files.
    did : str
        What was changed, in words.
    back, forth : int or None
        Which version undoing and redoing lead to.
    """

    number: int
    rig: str
    job: str
    did: str
    back: int | None = None
    forth: int | None = None


def jobs_in(bench: Path) -> dict[str, Path]:
    """The jobs of a bench, by name.

    Raises
    ------
    InputError
        If the folder cannot be read.
    """
    try:
        inside = sorted(bench.iterdir())
    except OSError as error:
        raise InputError(f"{bench}: cannot be read: {error.strerror}") from None
    return {
        path.name: path
        for path in inside
        if not path.name.startswith(".")
        and not path.is_symlink()
        and ((path / RIG_FILE).is_file() or (path / _HISTORY).is_dir())
    }


def begin(bench: Path, title: str, rig: str) -> str:
    """Make a new job.

    Returns
    -------
    str
        Its name: the title as a folder can have it, with a number if that is taken.

    Raises
    ------
    InputError
        If the rig is none, or the folder cannot be written.
    """
    read_rig_text(Path(RIG_FILE), rig, as_given=True)
    told = Told(title=title)
    stem = file_stems([title])[0] or "guitar"
    made = bench / f".{unique_name()}"
    try:
        bench.mkdir(parents=True, exist_ok=True)
        (made / _HISTORY).mkdir(parents=True)
        _keep(made, Version(1, rig, _dumped(told), "begun"))
        name, number = stem, 1
        while True:
            # An empty folder would be renamed over.
            try:
                if (bench / name).exists():
                    raise FileExistsError
                made.rename(bench / name)
            except OSError:
                if not (bench / name).exists():
                    raise
                number += 1
                name = f"{stem}-{number}"
            else:
                return name
    except OSError as error:
        raise _unwritten(bench, error) from None
    finally:
        shutil.rmtree(made, ignore_errors=True)


@contextmanager
def _alone(job: Path) -> Iterator[None]:
    """Wait until nobody else is at a job's files, and keep others waiting."""
    for _ in range(round(_PATIENCE_S / _EVERY_S)):
        if not job.is_dir():
            raise InputError(f"{job}: is gone")
        with holding(job) as held:
            if held is not False:
                yield
                return
        time.sleep(_EVERY_S)
    raise InputError(f"{job}: somebody else has held it for {_PATIENCE_S:g} s")


def newest(job: Path) -> Version:
    """The state of a job, with what was changed by others than the bench since.

    Raises
    ------
    InputError
        If its files cannot be read.
    """
    with _alone(job):
        return _newest(job)


def _newest(job: Path) -> Version:
    numbers = _numbers(job)
    last = _version(job, numbers[-1]) if numbers else None
    if last is None:
        there = (job / JOB_FILE).is_file()
        told = read_text(job / JOB_FILE) if there else _dumped(Told())
        return _kept(job, Version(1, read_text(job / RIG_FILE), told, "as it was found"))
    rig, told = (
        _working_copy(job, file, text)
        for file, text in ((RIG_FILE, last.rig), (JOB_FILE, last.job))
    )
    if (rig, told) == (last.rig, last.job):
        return last
    outside = Version(last.number + 1, rig, told, "changed outside the bench", last.number)
    return _kept(job, outside)


def told_of(version: Version) -> Told:
    """What a version says of the job.

    Raises
    ------
    InputError
        If an editor left something there that cannot be.
    """
    return _told(Section(JOB_FILE, parse_toml(Path(JOB_FILE), version.job)))


def situations_of(job: Path, version: Version, *, as_given: bool = True) -> tuple[Situation, ...]:
    """The guitar as a version has it; without a warning of what is odd, unless that is wanted.

    Raises
    ------
    InputError
        If the file says something that cannot be.
    """
    return read_rig_text(job / RIG_FILE, version.rig, as_given=as_given)


def change(
    job: Path, seen: int, did: str, *, rig: str | None = None, told: Told | None = None
) -> Version:
    """Change a job.

    Parameters
    ----------
    job : Path
    seen : int
        The version that the change was made on.
    did : str
        What is changed, in words.
    rig : str, optional
        The new text of the rig file.
    told : Told, optional

    Raises
    ------
    InputError
        If what is new cannot be, or the folder cannot be written.
    OutrunError
        If that version is no longer the newest.
    """
    if rig is not None:
        read_rig_text(job / RIG_FILE, rig, as_given=True)
    if told is not None and told.design:
        resolve_design(told.design)
    with _alone(job):
        last = _newest_seen(job, seen)
        new = Version(
            last.number + 1,
            last.rig if rig is None else rig,
            last.job if told is None else _dumped(told),
            did[:_LONGEST_LINE],
            last.number,
        )
        return last if (new.rig, new.job) == (last.rig, last.job) else _kept(job, new)


def step(job: Path, seen: int, *, back: bool) -> Version:
    """Undo the last change, or do it again.

    Raises
    ------
    InputError
        If there is none.
    OutrunError
        As for `change`.
    """
    with _alone(job):
        last = _newest_seen(job, seen)
        target = last.back if back else last.forth
        found = None if target is None else _version(job, target)
        if found is None:
            raise InputError(f"there is nothing to {'undo' if back else 'do again'}")
        did = "a step back" if back else "a step forward"
        ends = (found.back, last.number) if back else (last.number, found.forth)
        return _kept(job, Version(last.number + 1, found.rig, found.job, did, *ends))


def _newest_seen(job: Path, seen: int) -> Version:
    last = _newest(job)
    if last.number != seen:
        raise OutrunError(
            f"this guitar was changed elsewhere meanwhile ({last.did}); look at it, and change it"
            " again"
        )
    return last


def _working_copy(job: Path, file: str, kept: str) -> str:
    """A file's text; where a save was cut short, or the file is gone, as it was kept."""
    path = job / file
    try:
        text = read_text(path) if path.exists() else None
        if text == kept:
            return kept
        saved = job / _HISTORY / _file_name(_numbers(job)[-1])
        if text is not None and path.stat().st_mtime_ns > saved.stat().st_mtime_ns:
            return text
    except OSError as error:
        raise _unwritten(job, error) from None
    _put(path, kept)
    return kept


def _kept(job: Path, version: Version) -> Version:
    try:
        (job / _HISTORY).mkdir(exist_ok=True)
        _keep(job, version)
        for old in _numbers(job)[:-_KEPT]:
            (job / _HISTORY / _file_name(old)).unlink(missing_ok=True)
    except OSError as error:
        raise _unwritten(job, error) from None
    return version


def _keep(job: Path, version: Version) -> None:
    """The version first, then the two files that follow from it."""
    kept = job / _HISTORY / _file_name(version.number)
    try:
        _put(kept, json.dumps(asdict(version), ensure_ascii=False), force=False)
    except InputError:
        if kept.exists():
            raise OutrunError(
                "this guitar was changed elsewhere meanwhile; look at it again"
            ) from None
        raise
    _put(job / RIG_FILE, version.rig)
    _put(job / JOB_FILE, version.job)


def _put(path: Path, text: str, *, force: bool = True) -> None:
    """Write a file at once or not at all, and onto the disk."""
    with (
        new_file(path, force=force) as scratch,
        scratch.open("w", encoding="utf-8", newline="\n") as file,
    ):
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _numbers(job: Path) -> list[int]:
    with suppress(FileNotFoundError):
        names = (_NUMBERED.fullmatch(path.name) for path in (job / _HISTORY).iterdir())
        return sorted(int(name[1]) for name in names if name)
    return []


def _version(job: Path, number: int) -> Version | None:
    """One that was kept; None if it is no longer there."""
    path = job / _HISTORY / _file_name(number)
    try:
        told = json.loads(path.read_text("utf-8"))
        return Version(**told)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, TypeError):
        raise InputError(f"{path}: is not what the bench wrote; put it aside") from None


def _file_name(number: int) -> str:
    return f"{number:06d}.json"


def _told(section: Section) -> Told:
    section.only(*(field.name for field in fields(Told)))
    return Told(
        section.title(), section.text("notes", ""), section.text("design", ""),
        section.text("workshop", ""), _lines(section, "done"), _lines(section, "readings"),
        section.flag("archived"),
    )  # fmt: skip


def _lines(section: Section, key: str) -> tuple[str, ...]:
    value = section.table.get(key, [])
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise InputError(f"{section.where} {key}: must be a list of texts")
    return tuple(value)


def _dumped(told: Told) -> str:
    import tomlkit  # noqa: PLC0415

    return tomlkit.dumps({key: _plain(value) for key, value in asdict(told).items()})


def _plain(value: object) -> object:
    return list(value) if isinstance(value, tuple) else value


def _require_line(name: str, text: str) -> None:
    if len(text) > _LONGEST_LINE or not text.isprintable():
        raise InputError(f"{name}: must be plain text on one line, at most {_LONGEST_LINE} long")


def _unwritten(where: Path, error: OSError) -> InputError:
    return InputError(f"{where}: cannot be written: {error.strerror or error}")


def takes_of(job: Path) -> Iterator[Path]:
    """Its recordings."""
    with suppress(FileNotFoundError):
        yield from sorted((job / TAKES).glob("*.wav"))


def earlier_of(take: Path) -> Path:
    """Where the recording lies that a newer one of its name stands for."""
    return take.parent / EARLIER / take.name


def keep_earlier(take: Path) -> None:
    """Keep a recording that is about to be made anew, in place of the one before."""
    if not take.exists():
        return
    earlier = earlier_of(take)
    earlier.parent.mkdir(exist_ok=True)
    earlier.unlink(missing_ok=True)
    earlier.hardlink_to(take)


def swap_takes(take: Path) -> None:
    """Let a recording and the one before change places; there is one of the name at any instant.

    Raises
    ------
    InputError
        If there is no earlier one.
    """
    earlier, aside = earlier_of(take), take.parent / f".{take.name}"
    if not (take.is_file() and earlier.is_file()):
        raise InputError(f"take = {take.stem!r}: there is no recording before it")
    aside.unlink(missing_ok=True)
    aside.hardlink_to(take)
    earlier.replace(take)
    aside.replace(earlier)


def plain(job: Path, version: Version, told: Told) -> dict[str, Any]:
    """What a page shows of a job in a list."""
    return {
        "name": job.name,
        "version": version.number,
        "title": told.title or job.name,
        "design": told.design,
        "archived": told.archived,
    }
