"""Words and tables, for a terminal and for a notebook: the one writer of both."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from html import escape
from typing import Any, Protocol, TypeVar

from tabulate import tabulate


@dataclass(frozen=True)
class Table:
    """A small table of texts.

    Attributes
    ----------
    head : tuple of str
        One a column.
    rows : tuple of tuple of str
    words : int
        How many leading columns are words, set left; the rest is set right.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: int = 1

    def lines(self) -> list[str]:
        """For a terminal."""
        return [line.rstrip() for line in self._written("plain").splitlines()]

    def html(self) -> str:
        """For a notebook; texts are escaped."""
        return self._written("html")

    def _written(self, form: str) -> str:
        columns = len(self.head)
        align = ["left"] * self.words + ["right"] * (columns - self.words)
        return str(
            tabulate(
                self.rows, self.head, tablefmt=form, colalign=align[:columns], disable_numparse=True
            )
        )


Block = str | Table


class Report(Protocol):
    """What every report can do: its blocks for people, and plain values for programs."""

    def blocks(self) -> tuple[Block, ...]:
        """Sentences and tables in order; an empty string is a gap."""

    def lines(self) -> list[str]:
        """For a terminal."""

    def plain(self) -> dict[str, Any]:
        """For JSON: nothing but texts, numbers, lists, dicts and None."""


def lines_of(blocks: Iterable[Block]) -> list[str]:
    """Blocks for a terminal."""
    return [
        line
        for block in blocks
        for line in (block.lines() if isinstance(block, Table) else [block])
    ]


def html_of(blocks: Iterable[Block]) -> str:
    """Blocks for a notebook."""
    return "".join(
        block.html() if isinstance(block, Table) else f"<p>{escape(block)}</p>"
        for block in blocks
        if block
    )


Shown = TypeVar("Shown", bound=type)


def shows_itself(kind: Shown) -> Shown:
    """Let a report print as its lines, and show itself in a notebook.

    A report with an ``_repr_html_`` of its own keeps it.
    """
    text: Callable[[Report], str] = lambda self: "\n".join(self.lines())  # noqa: E731
    html: Callable[[Report], str] = lambda self: html_of(self.blocks())  # noqa: E731
    kind.__str__ = text  # type: ignore[method-assign, assignment]
    if not hasattr(kind, "_repr_html_"):
        kind._repr_html_ = html  # type: ignore[attr-defined]
    return kind
