"""Output files and folders that appear whole or not at all, and take nothing else away."""

import os
import re
import shutil
import stat
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from presolder.models.errors import InputError
from presolder.render.files.owner import holding, idle, machine
from presolder.render.files.record import RECORD, recorded, write_record
from presolder.render.files.scratch import scratch_folder, unique_name
from presolder.render.files.standard import STANDARD, write_to_standard

MANIFEST, CONTENTS = "manifest.json", "pack.json"
# Names that one system keeps for devices, whatever the ending.
_DEVICES = (
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{n}" for port in ("com", "lpt") for n in range(10)),
)
_PARTIAL = ".partial"
# Of a place's own name in that of its scratch folder.
_LONGEST_NAME = 60
# In a scratch folder: what is made, and what it takes the place of until that is done.
_NEW, _EARLIER = "new", "earlier"
# Another machine's scratch folder that was not touched for so long is nobody's.
_FORSAKEN_SECONDS = 86_400.0


@contextmanager
def new_folder(out: Path, *, force: bool) -> Iterator[Path]:
    """Give a scratch folder beside `out`, and move its content there at the end.

    Parameters
    ----------
    out : Path
        The folder wanted, or a link to it. It may exist if it is empty, or with
        `force`, in which case what an earlier run wrote there, and is as it was,
        makes room. Nothing else is taken away or replaced.
    force : bool
        Whether the user allowed earlier results to be replaced.

    Yields
    ------
    Path
        Where to write. It is removed if the block raises, and `out` is as it was.

    Raises
    ------
    InputError
        If `out` is no folder, has files in it, or cannot be written.
    """
    if out == STANDARD:
        raise InputError("-: a folder cannot go to standard output; a pack can, as a zip")
    require_free_folder(out, force=force)
    place = _followed(out)
    try:
        with _scratch_beside(place) as scratch:
            new = scratch / _NEW
            new.mkdir(0o700)
            yield new
            require_free_folder(out, force=force)
            write_record(new)
            _move_into_place(scratch, place)
    except OSError as error:
        raise _not_written(out, error) from None


def require_free_folder(out: Path, *, force: bool) -> None:
    """See before any work whether a folder may be made, or written into.

    Raises
    ------
    InputError
        If not.
    """
    if out == STANDARD:
        return
    try:
        if out.exists() and not out.is_dir():
            raise InputError(f"{out}: is not a folder")
        if not force and out.is_dir() and any(out.iterdir()):
            raise InputError(f"{out}: exists and has files in it; force is needed to write into it")
    except OSError as error:
        raise _not_written(out, error) from None


def require_free_file(out: Path | None, *, force: bool) -> None:
    """See before any work whether a file may be written.

    Raises
    ------
    InputError
        If it is a folder, a disk, or exists and `force` is not given.
    """
    if out is None or out == STANDARD:
        return
    try:
        kind = out.stat().st_mode
    except FileNotFoundError:
        return
    except OSError as error:
        raise _not_written(out, error) from None
    if stat.S_ISDIR(kind):
        raise InputError(f"{out}: is a folder; a file name is needed")
    if _takes_a_stream(kind):
        return
    if not stat.S_ISREG(kind):
        raise InputError(f"{out}: is no ordinary file, and is left alone")
    if not force:
        raise InputError(f"{out}: exists already; force is needed to replace it")


def is_zip(out: Path) -> bool:
    """Whether a pack of this name is one file, and no folder."""
    return out.suffix.lower() == ".zip" or out == STANDARD


def require_free_pack(out: Path, *, single_file: bool, force: bool) -> None:
    """See before any work whether a pack, or its page alone, may be written.

    Raises
    ------
    InputError
        If not.
    """
    if single_file and out.suffix.lower() not in (".html", ".htm") and out != STANDARD:
        raise InputError(f"a single file must end in .html, got {str(out)!r}")
    if single_file or is_zip(out):
        require_free_file(out, force=force)
    else:
        require_free_folder(out, force=force)


@contextmanager
def new_file(out: Path, *, force: bool = False, ending: str = "") -> Iterator[Path]:
    """Give a scratch file, and put it in the place of `out` at the end.

    Parameters
    ----------
    out : Path
        A file, or a link to one; a device or a pipe, which is written into; or
        ``-`` for standard output.
    force : bool
        Whether a file that exists may be replaced.
    ending : str
        Of the scratch file's name where `out` is standard output.

    Yields
    ------
    Path
        Where to write. It is removed if the block raises.

    Raises
    ------
    InputError
        If `out` exists and `force` is not given, or cannot be written.
    """
    require_free_file(out, force=force)
    try:
        if out == STANDARD or (out.exists() and _takes_a_stream(out.stat().st_mode)):
            with scratch_folder() as folder:
                piped = folder / f"out{ending or out.suffix}"
                yield piped
                _pass_on(piped, out)
            return
        place = _followed(out)
        with _scratch_beside(place) as scratch:
            file = scratch / place.name
            file.touch(0o600)
            yield file
            _open_permissions(file)
            require_free_file(out, force=force)
            _put(file, place, out, force=force)
    except OSError as error:
        raise _not_written(out, error) from None


def _takes_a_stream(kind: int) -> bool:
    """Whether something is written into, and is never replaced: a terminal, a null, a pipe."""
    return stat.S_ISCHR(kind) or stat.S_ISFIFO(kind)


def _pass_on(file: Path, out: Path) -> None:
    if out == STANDARD:
        write_to_standard(file)
        return
    with file.open("rb") as content, out.open("wb", buffering=0) as stream:
        shutil.copyfileobj(content, stream)


def _followed(out: Path) -> Path:
    """Where a path leads through all links, even if there is nothing yet."""
    return Path(os.path.realpath(out))


@contextmanager
def _scratch_beside(place: Path) -> Iterator[Path]:
    """A hidden folder beside a place, this run's until it ends; others' that were killed go."""
    place.parent.mkdir(parents=True, exist_ok=True)
    _remove_stale(place)
    while True:
        # Known before it is there, so that a signal in between leaves nothing.
        scratch = place.parent / f"{_beginning(place)}{machine()}-{unique_name()}{_PARTIAL}"
        try:
            scratch.mkdir(0o700)
            with holding(scratch) as held:
                # Not so where another run took it for a dead one's, in the moment before.
                if held is not False:
                    yield scratch
                    return
        finally:
            shutil.rmtree(scratch, ignore_errors=True)


def _beginning(place: Path) -> str:
    return f".{place.name[:_LONGEST_NAME]}."


def _remove_stale(place: Path) -> None:
    """Remove what killed runs into the same place left behind, and give back what they took."""
    beginning = _beginning(place)
    for path in place.parent.iterdir():
        told = path.name.removeprefix(beginning)
        if told == path.name or not told.endswith(_PARTIAL) or path.is_symlink():
            continue
        here = told.startswith(f"{machine()}-")
        with holding(path) as held:
            if (held and here) or (held is not False and idle(path, _FORSAKEN_SECONDS)):
                _undo(path, place)
                shutil.rmtree(path, ignore_errors=True)


def _put(file: Path, place: Path, out: Path, *, force: bool) -> None:
    """Rename a file; of two runs into one place, one wins and the other hears of it."""
    if not force:
        try:
            os.link(file, place)
        except FileExistsError:
            raise InputError(f"{out}: exists already; force is needed to replace it") from None
        except OSError:
            # File systems without links.
            file.replace(place)
        return
    file.replace(place)


def _not_written(out: Path, error: OSError) -> InputError:
    return InputError(f"{out}: cannot be written: {error.strerror or error}")


def _open_permissions(path: Path) -> None:
    """Undo the owner-only permissions that temporary files and folders get."""
    umask = os.umask(0)
    os.umask(umask)
    path.chmod((0o777 if path.is_dir() else 0o666) & ~umask)


def _move_into_place(scratch: Path, place: Path) -> None:
    """Put a new result where it belongs, or leave what is there as it was."""
    new, earlier = scratch / _NEW, scratch / _EARLIER
    _open_permissions(new)
    try:
        # Whoever stands in a folder must not find another in its place.
        stood_in = place.exists() and place.samefile(Path.cwd())
        if not place.exists() or not (stood_in or any(place.iterdir())):
            new.replace(place)
            return
        entries = recorded(place)
        mine = {one.file for one in entries if one.is_at(place)} | ({RECORD} if entries else set())
        _require_room(new, place, mine)
        if _all_files(place) == mine and not stood_in:
            place.rename(earlier)
            new.rename(place)
            return
        for name in sorted(mine):
            _moved(place / name, earlier / name)
        for name in sorted(mine):
            _remove_empty(place, (place / name).parent)
        # The record last: what has it has all.
        for source in sorted(_files(new), key=lambda path: path.name == RECORD):
            _moved(source, place / source.relative_to(new))
    except BaseException:
        _undo(scratch, place)
        raise


def _undo(scratch: Path, place: Path) -> None:
    """Give back what an unfinished move took from a place."""
    new, earlier = scratch / _NEW, scratch / _EARLIER
    # What is moved last is moved: it was finished.
    if not earlier.is_dir() or not (new / RECORD).exists():
        return
    if not place.exists():
        earlier.rename(place)
        return
    with suppress(OSError):
        for one in recorded(new):
            if not (new / one.file).exists() and one.is_at(place):
                (place / one.file).unlink()
        for path in sorted(_files(earlier)):
            _moved(path, place / path.relative_to(earlier))


def _moved(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    source.rename(target)


def _files(folder: Path) -> Iterator[Path]:
    """All in a folder that is no folder; links are not followed."""
    return (path for path in folder.rglob("*") if path.is_symlink() or not path.is_dir())


def _all_files(folder: Path) -> set[str]:
    """Names of a folder's files, and of empty folders, which are somebody's too."""
    found = {path.relative_to(folder).as_posix() for path in _files(folder)}
    empty = (path for path in folder.rglob("*") if path.is_dir() and not path.is_symlink())
    return found | {f"{p.relative_to(folder)}/" for p in empty if not any(p.iterdir())}


def _require_room(new: Path, place: Path, mine: set[str]) -> None:
    """Refuse to put a file where something is that presolder cannot prove to be its own."""
    for source in _files(new):
        name = source.relative_to(new)
        for parent in reversed(name.parents[:-1]):
            there = place / parent
            if os.path.lexists(there) and (there.is_symlink() or not there.is_dir()):
                raise _not_its_own(there)
        if os.path.lexists(place / name) and name.as_posix() not in mine:
            raise _not_its_own(place / name)


def _not_its_own(path: Path) -> InputError:
    return InputError(
        f"{path}: is in the way, and not as presolder wrote it; move it, or choose another folder"
    )


def _remove_empty(place: Path, folder: Path) -> None:
    """Remove folders that a result left empty, upwards."""
    while folder != place:
        try:
            folder.rmdir()
        except OSError:
            return
        folder = folder.parent


def file_stems(names: list[str]) -> list[str]:
    """File names without endings for a list of design names.

    Parameters
    ----------
    names : list of str
        Design names or expressions.

    Returns
    -------
    list of str
        Distinct; letters, digits, ``-`` and ``_`` only, so that they are safe
        on every file system. ``||`` becomes ``parallel`` and ``+`` becomes
        ``series``.
    """
    stems: list[str] = []
    for name in names:
        words = name.replace("||", " parallel ").replace("∥", " parallel ").replace("+", " series ")
        plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode()
        stem = re.sub(r"[^A-Za-z0-9-]+", "_", plain).strip("_-").lower()[:60] or "design"
        if stem in _DEVICES:
            stem += "_"
        taken = 2
        unique = stem
        while unique in stems:
            unique, taken = f"{stem}_{taken}", taken + 1
        stems.append(unique)
    return stems


def padded_dial(dial: float) -> str:
    """A dial in a file name, two figures before the point, so that names sort: 04, 10, 07.5."""
    whole, _, part = f"{dial:.6f}".rstrip("0").rstrip(".").partition(".")
    return f"{int(whole):02d}" + (f".{part}" if part else "")
