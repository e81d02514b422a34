"""The file that lists many jobs: rigs, designs, takes and commands."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import version
from itertools import product
from pathlib import Path

from presolder.models.errors import InputError, place
from presolder.render.files.folder import file_stems
from presolder.render.files.rig_file import built_in_rigs, read_situations
from presolder.render.files.toml import Section, read_toml

# What each command makes: a folder of its own, or a result to keep.
MAKES_FOLDER = ("render", "pack")
GIVES_RESULT = ("need", "compare", "tailor", "cleanup", "curves")
COMMANDS = (*MAKES_FOLDER, *GIVES_RESULT)
_WITHOUT_TAKE = ("curves",)
_WITHOUT_DESIGNS = ("need", "tailor")
# Said by the batch itself.
_TAKEN = ("out", "force", "json", "rig", "design", "take", "in")
MOST_JOBS = 1_000_000


@dataclass(frozen=True)
class Job:
    """One run of one command.

    Attributes
    ----------
    name : str
        Its folder.
    command : str
    arguments : tuple of str
        All but where its result goes.
    key : str
        The same for the same version, arguments and contents of the files that
        it reads, and for nothing else.
    """

    name: str
    command: str
    arguments: tuple[str, ...]
    key: str


def read_jobs(path: Path) -> tuple[Job, ...]:
    """Read a file of jobs: each ``[[job]]`` is every rig with every take.

    Parameters
    ----------
    path : Path

    Returns
    -------
    tuple of Job
        In the order of the file, then of rigs, then of takes.

    Raises
    ------
    InputError
        Naming the job, the key and what is accepted; also for a rig file that
        cannot be used or a take that is not there, before anything is run.
    """
    table = read_toml(path)
    Section(str(path), table).only("job")
    listed = table.get("job")
    if not isinstance(listed, list) or not listed or not all(isinstance(j, dict) for j in listed):
        raise InputError(f"{path}: lists no jobs; each is a [[job]] section")
    found: list[tuple[str, str, tuple[str, ...], str]] = []
    digests: dict[Path, str] = {}
    for number, one in enumerate(listed, start=1):
        section = Section(f"{path} [[job]] {number}", one)
        with place(section.where):
            found += _expanded(section, path.parent, digests)
        if len(found) > MOST_JOBS:
            raise InputError(f"{path}: more than {MOST_JOBS:,} jobs")
    stems = file_stems([name for name, *_ in found])
    return tuple(
        Job(stem, command, arguments, key)
        for stem, (_, command, arguments, key) in zip(stems, found, strict=True)
    )


def _expanded(
    section: Section, folder: Path, digests: dict[Path, str]
) -> Iterator[tuple[str, str, tuple[str, ...], str]]:
    """Every rig with every take."""
    section.only("name", "command", "rigs", "takes", "designs", "situations", "options")
    command = section.choice("command", COMMANDS, "")
    rigs, takes = _texts(section, "rigs"), _texts(section, "takes")
    designs = _texts(section, "designs")
    if not rigs:
        raise InputError("rigs: at least one is needed")
    if command in MAKES_FOLDER and not takes:
        raise InputError(f"takes: {command} needs at least one recording")
    for key, without, given in (
        ("takes", _WITHOUT_TAKE, takes),
        ("designs", _WITHOUT_DESIGNS, designs),
    ):
        if given and command in without:
            raise InputError(f"{key}: {command} takes none")
    options = (
        *(word for design in designs for word in ("--design", design)),
        *(word for name in _texts(section, "situations") for word in ("--in", name)),
        *_options(section.sub("options")),
    )
    for word in options:
        if "\0" in word:
            raise InputError(f"{word!r}: a zero character can be handed to no command")
    named = section.text("name", command)
    # A gesture, a drawer of parts, an impulse response; on the command line they stand from here.
    said = [word.partition("=")[2] or word for word in options]
    used = " ".join(map(_digest, sorted(_files_named(said, Path()))))
    for rig, take in product(rigs, takes or ("",)):
        rig_word, rig_digest = _rig(rig, folder, digests)
        words, digest = _take(take, command, folder, digests)
        key = _key(command, options, rig_digest, digest, used)
        parts = [named, Path(rig).stem, Path(take).stem] if take else [named, Path(rig).stem]
        yield " ".join(parts), command, (*words, "--rig", rig_word, *options), key


def _texts(section: Section, key: str) -> tuple[str, ...]:
    value = section.table.get(key, [])
    if not isinstance(value, list) or not all(isinstance(one, str) and one for one in value):
        raise InputError(f"{key} = {value!r} must be a list of texts")
    return tuple(value)


def _options(section: Section) -> Iterator[str]:
    """Options as on the command line: true is a flag, a list is an option several times."""
    for key, value in section.table.items():
        name = key.replace("_", "-")
        if name in _TAKEN:
            raise InputError(f"options {key}: is not for here; rigs, takes, designs say it")
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, bool):
                if one:
                    yield f"--{name}"
            elif isinstance(one, str | int | float):
                yield f"--{name}={one}"
            else:
                raise InputError(f"options {key} = {one!r} must be text, a number, true or false")


def _rig(name: str, folder: Path, digests: dict[Path, str]) -> tuple[str, str]:
    """What to call a rig by on the command line, and what tells it from others."""
    known = built_in_rigs()
    path = known.get(name, folder / name)
    if path not in digests:
        read_situations(path)
        named = sorted(_files_named(read_toml(path), path.parent))
        digests[path] = " ".join(map(_digest, [path, *named]))
    return (name if name in known else str(path)), digests[path]


def _files_named(value: object, folder: Path) -> set[Path]:
    """Files that texts in a table name, such as a measured taper."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return {path for one in value for path in _files_named(one, folder)}
    return {folder / value} if isinstance(value, str) and _is_file(folder / value) else set()


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def _take(
    name: str, command: str, folder: Path, digests: dict[Path, str]
) -> tuple[tuple[str, ...], str]:
    """The words for a take, and what tells it from others."""
    if not name:
        return (), ""
    path = folder / name
    if path not in digests:
        try:
            there = path.is_file()
        except OSError as error:
            raise InputError(f"takes: {path}: {error.strerror}") from error
        if not there:
            raise InputError(f"takes: {path} is not there")
        digests[path] = _digest(path)
    words = (str(path),) if command in MAKES_FOLDER else ("--take", str(path))
    return words, digests[path]


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _key(command: str, options: tuple[str, ...], *digests: str) -> str:
    told = json.dumps([version("presolder"), command, options, digests])
    return hashlib.sha256(told.encode()).hexdigest()[:32]
