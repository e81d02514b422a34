"""Output folders that appear whole or not at all."""

import json
import os
import re
import shutil
import socket
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from presolder.models.errors import InputError
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
# The files that say what was written.
LISTINGS = (MANIFEST, CONTENTS)
_PARTIAL = ".partial"
# Of a place's own name in that of a scratch file, which has an ending besides.
_LONGEST_NAME = 60


@contextmanager
def new_folder(out: Path, *, force: bool) -> Iterator[Path]:
    """Give a scratch folder beside `out`, and move its content there at the end.

    Parameters
    ----------
    out : Path
        The folder wanted. It may exist if it is empty, or with `force`, in
        which case files of the same name are replaced, and those removed that
        an earlier run says it wrote.
    force : bool
        Whether the user allowed existing files to be replaced.

    Yields
    ------
    Path
        Where to write. It is removed if the block raises.

    Raises
    ------
    InputError
        If `out` is a file, has files in it, or cannot be written.
    """
    if out == STANDARD:
        raise InputError("-: a folder cannot go to standard output; a pack can, as a zip")
    _check_free(out, force=force)
    scratch = _scratch_for(out, _PARTIAL)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        _remove_stale(out)
        # In here, since a signal may come as soon as it is there.
        scratch.mkdir(0o700)
        yield scratch
        _check_free(out, force=force)
        _move_into_place(scratch, out)
    except OSError as error:
        raise _not_written(out, error) from None
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def owner_told() -> str:
    """Whose something is: host and process."""
    return f"{_host()}-{os.getpid()}"


def owner_runs(told: str) -> bool:
    """Whether a process that `owner_told` named still runs, as far as this host knows."""
    number = told.rpartition("-")[2]
    if not same_host(told) or not number.isdecimal() or os.name != "posix":
        return True
    return _runs(int(number))


def same_host(told: str) -> bool:
    """Whether what `owner_told` named is on this machine."""
    return told.rpartition("-")[0] == _host()


def _scratch_for(out: Path, ending: str) -> Path:
    """A name beside `out` that no other has: hidden, with host and process."""
    return out.parent / f".{out.name[:_LONGEST_NAME]}.{owner_told()}.{unique_name()}{ending}"


def _host() -> str:
    return re.sub(r"[^A-Za-z0-9]+", "_", socket.gethostname())[:40]


def _remove_stale(out: Path) -> None:
    """Remove what runs into the same place left behind that were killed."""
    beginning = f".{out.name[:_LONGEST_NAME]}."
    for path in out.parent.iterdir():
        if not path.name.startswith(beginning) or _PARTIAL not in path.name:
            continue
        if not owner_runs(path.name.removeprefix(beginning).partition(".")[0]):
            if path.is_dir():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink(missing_ok=True)


def _runs(process: int) -> bool:
    """Whether there is a process of this number."""
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


@contextmanager
def new_file(out: Path, *, force: bool = False, ending: str = "") -> Iterator[Path]:
    """Give a scratch file beside `out`, and rename it to `out` at the end.

    Parameters
    ----------
    out : Path
        A file, or ``-`` for standard output.
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
    if out == STANDARD:
        with scratch_folder() as folder:
            piped = folder / f"out{ending}"
            yield piped
            write_to_standard(piped)
        return
    scratch = _scratch_for(out, f"{_PARTIAL}{out.suffix}")
    try:
        if out.is_dir():
            raise InputError(f"{out}: is a folder; a file name is needed")
        if out.exists() and not force:
            raise _taken(out)
        out.parent.mkdir(parents=True, exist_ok=True)
        _remove_stale(out)
        scratch.touch(0o600, exist_ok=False)
        yield scratch
        _open_permissions(scratch)
        if force or not out.exists():
            _put(scratch, out, force=force)
        else:
            raise _taken(out)
    except OSError as error:
        raise _not_written(out, error) from None
    finally:
        scratch.unlink(missing_ok=True)


def _taken(out: Path) -> InputError:
    return InputError(f"{out}: exists already; force is needed to replace it")


def _put(scratch: Path, out: Path, *, force: bool) -> None:
    """Rename a file; of two runs into one place, one wins and the other hears of it."""
    if not force:
        try:
            os.link(scratch, out)
        except FileExistsError:
            raise _taken(out) from None
        except OSError:
            # File systems without links.
            scratch.replace(out)
        return
    scratch.replace(out)


def _not_written(out: Path, error: OSError) -> InputError:
    return InputError(f"{out}: cannot be written: {error.strerror or error}")


def _check_free(out: Path, *, force: bool) -> None:
    try:
        if out.exists() and not out.is_dir():
            raise InputError(f"{out}: is not a folder")
        if not force and out.is_dir() and any(out.iterdir()):
            raise InputError(f"{out}: exists and has files in it; force is needed to write into it")
    except OSError as error:
        raise _not_written(out, error) from None


def _open_permissions(path: Path) -> None:
    """Undo the owner-only permissions that temporary files and folders get."""
    umask = os.umask(0)
    os.umask(umask)
    path.chmod((0o777 if path.is_dir() else 0o666) & ~umask)


def _move_into_place(scratch: Path, out: Path) -> None:
    _open_permissions(scratch)
    if out.is_dir() and not any(out.iterdir()):
        out.rmdir()
    if not out.exists():
        scratch.rename(out)
        return
    _remove_earlier(out)
    for source in sorted(scratch.rglob("*")):
        target = out / source.relative_to(scratch)
        if source.is_dir():
            target.mkdir(exist_ok=True)
        else:
            source.replace(target)


def _remove_earlier(out: Path) -> None:
    """Remove what an earlier run wrote, as it tells itself, so that nothing of it is mixed in."""
    for listing in LISTINGS:
        try:
            written = json.loads((out / listing).read_text("utf-8"))["written"]
            names = [name for name in written if isinstance(name, str)]
        except (OSError, ValueError, KeyError, TypeError):
            continue
        for name in names:
            parts = Path(name).parts
            if parts and ".." not in parts and not Path(name).is_absolute():
                (out / name).unlink(missing_ok=True)
        for folder in sorted((p for p in out.rglob("*") if p.is_dir()), reverse=True):
            if not any(folder.iterdir()):
                folder.rmdir()


def files_in(folder: Path, listing: str) -> list[str]:
    """What a run has written into its folder, and the file that will say so."""
    names = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    return sorted({*names, listing})


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
