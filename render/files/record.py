"""What presolder wrote into a folder, told there in a file of its own, so that it can be proved."""

import json
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import file_digest, sha256
from importlib.metadata import version
from pathlib import Path, PurePosixPath

RECORD = ".presolder.json"
_MOST_BYTES = 50_000_000


@dataclass(frozen=True)
class Written:
    """A file as it was written.

    Attributes
    ----------
    file : str
        Relative to the folder, with slashes.
    bytes : int
    sha256 : str
    """

    file: str
    bytes: int
    sha256: str

    def is_at(self, folder: Path) -> bool:
        """Whether it is still there, an ordinary file as it was, reached through no link."""
        path = folder / self.file
        try:
            for parent in path.relative_to(folder).parents:
                if not stat.S_ISDIR((folder / parent).lstat().st_mode) and str(parent) != ".":
                    return False
            about = path.lstat()
            same_size = stat.S_ISREG(about.st_mode) and about.st_size == self.bytes
            return same_size and _digest(path) == self.sha256
        except OSError:
            return False


def write_record(folder: Path) -> None:
    """Note all files of a folder that was just written."""
    written = [
        {
            "file": path.relative_to(folder).as_posix(),
            "bytes": path.stat().st_size,
            "sha256": _digest(path),
        }
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != RECORD
    ]
    told = {"presolder": version("presolder"), "written": written}
    (folder / RECORD).write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", "utf-8")


def recorded(folder: Path) -> tuple[Written, ...]:
    """What a folder's record says, of files inside it alone; nothing if it has none."""
    record = folder / RECORD
    try:
        about = record.lstat()
        if not stat.S_ISREG(about.st_mode) or about.st_size > _MOST_BYTES:
            return ()
        return tuple(_entries(json.loads(record.read_text("utf-8"))["written"]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ()


def _entries(listed: object) -> Iterator[Written]:
    for one in listed if isinstance(listed, list) else []:
        entry = Written(one["file"], one["bytes"], one["sha256"])
        parts = PurePosixPath(entry.file).parts
        inside = parts and ".." not in parts and not parts[0].startswith("/")
        if inside and "\0" not in entry.file and isinstance(entry.bytes, int):
            yield entry


def proof(folder: Path) -> str | None:
    """A digest of a folder's content, None where that is not what its record says.

    Only what was touched after the record is read again.
    """
    entries = recorded(folder)
    try:
        record = folder / RECORD
        since, told = record.stat().st_mtime_ns, record.read_bytes()
        for one in entries:
            about = (folder / one.file).lstat()
            touched = about.st_mtime_ns > since or about.st_size != one.bytes
            if touched and not one.is_at(folder):
                return None
    except OSError:
        return None
    return sha256(told).hexdigest() if entries else None


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()
