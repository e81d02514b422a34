"""Reading TOML tables key by key, with errors that name file, section and key."""

import difflib
import re
import tomllib
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from presolder.models.errors import InputError, OddValueWarning, one_line, place
from presolder.models.instrument.plausible import Kind, oddity
from presolder.models.instrument.quantities import Unit, parse_quantity
from presolder.render.files.standard import input_name, readable

_LARGEST_FILE_BYTES = 1_000_000
_LARGEST_NUMBER = 10**18
_MOST_KEY_PARTS = 30
_LONGEST_TITLE = 200
_LONG_KEY = re.compile(
    rf"""(?:^|[{{,])\s*\[*(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')\s*\.\s*){{{_MOST_KEY_PARTS}}}""",
    re.MULTILINE,
)
Word = TypeVar("Word", bound=str)


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    InputError
        If it is not a readable TOML file of sensible size.
    """
    return parse_toml(path, read_text(path))


def parse_toml(path: Path, text: str) -> dict[str, Any]:
    """The tables of a TOML file's text.

    Raises
    ------
    InputError
        As for `read_toml`.
    """
    if _LONG_KEY.search(text):
        # The reader's work grows with the square of a key's length.
        raise InputError(f"{path}: a key of more than {_MOST_KEY_PARTS} parts joined by dots")
    try:
        return _sized(tomllib.loads(text), path)
    # tomllib passes on plain ValueError (huge integers) and RecursionError.
    except (ValueError, RecursionError) as error:
        reason = str(error) if isinstance(error, ValueError) else "nested too deeply"
        raise InputError(f"{path}: not valid TOML: {one_line(reason)}") from None


def _sized(table: dict[str, Any], path: Path) -> dict[str, Any]:
    """Refuse whole numbers so large that even writing them into a message fails."""
    waiting: list[object] = [table]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting += value.values()
        elif isinstance(value, list):
            waiting += value
        elif isinstance(value, int) and abs(value) > _LARGEST_NUMBER:
            raise InputError(f"{path}: holds a whole number above {_LARGEST_NUMBER:.0e}")
    return table


def read_text(path: Path) -> str:
    """Read a small text file, or standard input as ``-``.

    Raises
    ------
    InputError
        If it is not a regular file, too large, not readable or not UTF-8.
    """
    shown = input_name(path)
    try:
        with readable(path, _LARGEST_FILE_BYTES) as file:
            if not file.is_file():
                reason = "is not a file" if file.exists() else "no such file"
                raise InputError(f"{shown}: {reason}")
            if file.stat().st_size > _LARGEST_FILE_BYTES:
                raise InputError(f"{shown}: larger than {_LARGEST_FILE_BYTES:,} bytes")
            return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{shown}: not a text file (UTF-8 expected)") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{shown}: cannot be read: {one_line(str(error))}") from None


def nearest(word: str, choices: Iterable[str]) -> str:
    """The choice most like a word, for "did you mean" messages."""
    known = list(choices)
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.0)
    return close[0] if close else known[0]


@dataclass(frozen=True)
class Section:
    """One table of a TOML file, and what to call it in messages."""

    where: str
    table: dict[str, Any]
    as_given: bool = False

    def only(self, *keys: str) -> None:
        """Refuse keys other than these, naming the nearest valid one."""
        for key in self.table:
            if key not in keys:
                raise InputError(
                    f"{self.where}: unknown key {key!r}; nearest valid key: {nearest(key, keys)}"
                )

    def sub(self, key: str) -> "Section":
        """The table under `key`; an empty one if absent."""
        table = self.table.get(key, {})
        if not isinstance(table, dict):
            raise InputError(f"{self.where} {key} = {table!r}: must be a [{key}] section")
        return Section(f"{self.where} [{key}]", table, self.as_given)

    def required(self, key: str) -> object:
        """The value under `key`, whatever its type."""
        if key not in self.table:
            raise InputError(f"{self.where}: {key} is missing")
        return self.table[key]

    def text(self, key: str, default: str) -> str:
        """A string."""
        value = self.table.get(key, default)
        if not isinstance(value, str):
            raise InputError(f"{self.where} {key} = {value!r}: must be text in quotes")
        return value

    def title(self) -> str:
        """A title for people and file tags; empty if absent."""
        text = self.text("title", "")
        if not text.isprintable():
            raise InputError(f"{self.where} title = {text!r}: must be plain text on one line")
        if len(text) > _LONGEST_TITLE:
            raise InputError(
                f"{self.where} title: has {len(text)} characters; at most {_LONGEST_TITLE}"
            )
        return text

    def flag(self, key: str) -> bool:
        """True or false; false if absent."""
        value = self.table.get(key, False)
        if not isinstance(value, bool):
            raise InputError(f"{self.where} {key} = {value!r}: must be true or false")
        return value

    def choice(self, key: str, choices: tuple[Word, ...], default: Word) -> Word:
        """One of a few words."""
        value = self.text(key, default)
        for choice in choices:
            if value == choice:
                return choice
        raise InputError(f"{self.where} {key} = {value!r}: must be one of {', '.join(choices)}")

    def number(self, key: str, default: float | None = None) -> float:
        """A plain number; required when there is no default."""
        value = self.table.get(key, default) if default is not None else self.required(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"{self.where} {key} = {value!r}: must be a number")
        try:
            return float(value)
        except OverflowError:
            raise InputError(f"{self.where} {key}: number too large") from None

    def optional_number(self, key: str) -> float | None:
        """A plain number, or None if absent."""
        return self.number(key) if key in self.table else None

    def quantity(
        self, key: str, unit: Unit, default: float | None = None, *, kind: Kind | None = None
    ) -> float:
        """A component value, of a kind that it must suit; required when there is no default."""
        value = self.table.get(key, default) if default is not None else self.required(key)
        with place(f"{self.where} {key}"):
            number = parse_quantity(value, unit)
        return number if kind is None else self.suiting(key, number, kind)

    def suiting(self, key: str, value: float, kind: Kind) -> float:
        """A value that is one of its kind, unless the user insists; warns of odd ones."""
        if not self.as_given and value > 0:
            with place(f"{self.where} {key} = {self.table.get(key)!r}"):
                odd = oddity(kind, value)
            if odd is not None:
                written = f"{self.where} {key} = {self.table.get(key)!r}: {odd}"
                warnings.warn(OddValueWarning(written), stacklevel=2)
        return value

    def optional_quantity(self, key: str, unit: Unit, *, kind: Kind | None = None) -> float | None:
        """A component value, or None if absent."""
        return self.quantity(key, unit, kind=kind) if key in self.table else None
