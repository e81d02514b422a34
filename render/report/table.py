"""Words and tables, for a terminal and for a notebook: the one writer of both."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Protocol, TypeVar

from presolder.models.errors import InputError


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
        # The head as a row like others: as a head it would be padded.
        plain = self._set((), [self.head, *self.rows], "plain")
        return [line.rstrip() for line in plain.splitlines()]

    def html(self) -> str:
        """For a notebook; texts are escaped."""
        html = self._set(self.head, self.rows, "html")
        return html.replace("<table>", '<table style="border-spacing:1em .1em">', 1)

    def _set(self, head: Sequence[str], rows: Sequence[Sequence[str]], form: str) -> str:
        """Set the columns; texts that look like numbers stay as they are."""
        # Here, so that only tables wait for the library.
        from tabulate import tabulate  # noqa: PLC0415

        right = len(self.head) - self.words
        return str(
            tabulate(
                rows, head, tablefmt=form, disable_numparse=True, preserve_whitespace=True,
                colalign=["left"] * self.words + ["right"] * right,
            )
        )  # fmt: skip


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


def plain_cell(text: str) -> str:
    """A name for a CSV file, which no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t")) else text


def fitting(svg: str) -> str:
    """A drawing for a notebook, no wider than there is room."""
    return svg[svg.index("<svg") :].replace("<svg", '<svg style="max-width:100%;height:auto"', 1)


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


def frame_of(rows: Iterable[Mapping[str, object]]) -> Any:  # noqa: ANN401
    """Rows, with one value a column, as a `pandas.DataFrame`.

    Raises
    ------
    InputError
        If pandas is not installed.
    """
    try:
        # Here, so that only who asks needs it.
        from pandas import DataFrame  # noqa: PLC0415
    except ImportError:
        raise InputError("to_frame needs pandas: pip install pandas") from None
    return DataFrame(list(rows))
