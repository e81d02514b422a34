"""Output folders that appear whole or not at all."""

import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from presolder.models.errors import InputError


@contextmanager
def new_folder(out: Path, *, force: bool) -> Iterator[Path]:
    """Give a scratch folder beside `out`, and move its content there at the end.

    Parameters
    ----------
    out : Path
        The folder wanted. It may exist if it is empty, or with `force`, in
        which case only files of the same name are replaced.
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
    _check_free(out, force=force)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".partial", dir=out.parent))
    except OSError as error:
        raise _not_written(out, error) from None
    try:
        yield scratch
        _check_free(out, force=force)
        _move_into_place(scratch, out)
    except OSError as error:
        raise _not_written(out, error) from None
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


@contextmanager
def new_file(out: Path, *, force: bool = False) -> Iterator[Path]:
    """Give a scratch file beside `out`, and rename it to `out` at the end.

    Raises
    ------
    InputError
        If `out` exists and `force` is not given, or cannot be written.
    """
    if out.is_dir():
        raise InputError(f"{out}: is a folder; a file name is needed")
    if out.exists() and not force:
        raise InputError(f"{out}: exists already; force is needed to replace it")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(
            prefix=f".{out.stem}.", suffix=f".partial{out.suffix}", dir=out.parent
        )
        os.close(handle)
    except OSError as error:
        raise _not_written(out, error) from None
    scratch = Path(name)
    try:
        yield scratch
        _open_permissions(scratch)
        scratch.replace(out)
    except OSError as error:
        raise _not_written(out, error) from None
    finally:
        scratch.unlink(missing_ok=True)


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
    if not out.exists():
        scratch.rename(out)
        return
    for source in sorted(scratch.rglob("*")):
        target = out / source.relative_to(scratch)
        if source.is_dir():
            target.mkdir(exist_ok=True)
        else:
            source.replace(target)


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
        on every file system. ``||`` becomes ``par`` and ``+`` becomes ``ser``.
    """
    stems: list[str] = []
    for name in names:
        words = name.replace("||", " par ").replace("∥", " par ").replace("+", " ser ")
        plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode()
        stem = re.sub(r"[^A-Za-z0-9-]+", "_", plain).strip("_-").lower()[:60] or "design"
        taken = 2
        unique = stem
        while unique in stems:
            unique, taken = f"{stem}_{taken}", taken + 1
        stems.append(unique)
    return stems
