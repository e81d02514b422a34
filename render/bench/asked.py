"""What a page asks, entry by entry, each of its kind or refused by name."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from presolder.models.errors import InputError


@dataclass(frozen=True)
class Asked:
    """A JSON object; each method raises `InputError` for an entry that is not of its kind.

    Attributes
    ----------
    given : mapping
    """

    given: Mapping[str, Any]

    def __contains__(self, key: str) -> bool:
        """Whether there is such an entry."""
        return key in self.given

    def text(self, key: str, default: str | None = None) -> str:
        """A text."""
        value = self.given.get(key, default)
        if not isinstance(value, str):
            raise InputError(f"{key} = {value!r}: a text is wanted")
        return value

    def texts(self, key: str) -> list[str]:
        """Several; none if they are not given."""
        value = self.given.get(key, [])
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            raise InputError(f"{key}: a list of texts is wanted")
        return value

    def named_texts(self, key: str) -> dict[str, str]:
        """Texts by name; none if they are not given."""
        value = self.given.get(key, {})
        if not isinstance(value, dict) or not all(isinstance(one, str) for one in value.values()):
            raise InputError(f"{key}: texts by name are wanted")
        return value

    def entries(self, key: str) -> dict[str, Any]:
        """Entries of any kind, at least one."""
        value = self.given.get(key)
        if not isinstance(value, dict) or not value:
            raise InputError(f"{key}: what is to be changed is wanted, by name")
        return value

    def several(self, key: str) -> list["Asked"]:
        """A list of objects."""
        value = self.given.get(key)
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            raise InputError(f"{key}: a list is wanted")
        return [Asked(one) for one in value]

    def pairs(self, key: str) -> list[tuple[float, float]]:
        """Pairs of numbers."""
        value = self.given.get(key)
        try:
            found = [(float(one), float(other)) for one, other in value]  # type: ignore[union-attr]
        except (TypeError, ValueError):
            raise InputError(f"{key}: pairs of numbers are wanted") from None
        if not all(math.isfinite(number) for pair in found for number in pair):
            raise InputError(f"{key}: numbers are wanted")
        return found

    def number(self, key: str, default: float) -> float:
        """A number."""
        value = self.given.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"{key} = {value!r}: a number is wanted")
        return float(value)

    def whole(self, key: str) -> int:
        """A whole number."""
        value = self.given.get(key)
        if isinstance(value, bool) or not isinstance(value, int):
            raise InputError(f"{key} = {value!r}: a whole number is wanted")
        return value

    def flag(self, key: str) -> bool:
        """True or false; false if it is not given."""
        value = self.given.get(key, False)
        if not isinstance(value, bool):
            raise InputError(f"{key} = {value!r}: true or false is wanted")
        return value
