"""Words and tables, for a terminal and for a notebook: the one writer of both."""

import re
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
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
    spare : tuple of str
        Heads of columns that a narrow terminal does without, the first of them first.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: int = 1
    spare: tuple[str, ...] = ()

    def lines(self, width: int | None = None, emphasis: Callable[[str], str] = str) -> list[str]:
        """For a terminal.

        Parameters
        ----------
        width : int, optional
            Where it ends: what is wider has its heads and words on several lines, does without
            what it can spare, and where that is not enough, has its rows one below the other.
        emphasis : callable
            What sets off the head.
        """
        # The head as a row like others: as a head it would be padded.
        lines = self._set((), [self.head, *self.rows], "plain").splitlines()
        if width is None or max(map(len, lines)) <= width:
            return [emphasis(lines[0].rstrip()), *(line.rstrip() for line in lines[1:])]
        columns = self._narrowed(width)
        if columns is None:
            return self._shortened(width, emphasis)
        tops = max(
            len(textwrap.wrap(name, room, break_on_hyphens=False))
            for name, room in zip(self.head, columns, strict=True)
        )
        lines = self._set((), [self.head, *self.rows], "plain", columns).splitlines()
        return [
            emphasis(line.rstrip()) if at < tops else line.rstrip() for at, line in enumerate(lines)
        ]

    def _narrowed(self, width: int) -> list[int] | None:
        """How wide each column may be, from the widest down; None where no word may be broken."""
        cells = [[row[at] for row in self.rows] for at in range(len(self.head))]
        words = [
            max(map(len, " ".join([name, *own]).split()), default=1)
            for name, own in zip(self.head, cells, strict=True)
        ]
        columns = [max(own, *map(len, column)) for own, column in zip(words, cells, strict=True)]
        # Numbers with their units stay in a line.
        least = [
            wide if at >= self.words and any(map(_NUMBER.match, column)) else own
            for at, (own, wide, column) in enumerate(zip(words, columns, cells, strict=True))
        ]
        gaps = len(_GAP) * (len(columns) - 1)
        while sum(columns) + gaps > width:
            spare = [wide - own for wide, own in zip(columns, least, strict=True)]
            widest = spare.index(max(spare))
            if spare[widest] == 0:
                return None
            columns[widest] -= 1
        return columns

    def _shortened(self, width: int, emphasis: Callable[[str], str]) -> list[str]:
        """Without the first column that it can spare; stacked where there is none."""
        gone = next((name for name in self.spare if name in self.head), None)
        if gone is None:
            return self._stacked(width, emphasis)
        at = self.head.index(gone)
        less = replace(
            self,
            head=self.head[:at] + self.head[at + 1 :],
            rows=tuple(row[:at] + row[at + 1 :] for row in self.rows),
            words=self.words - (at < self.words),
        )
        return less.lines(width, emphasis)

    def _stacked(self, width: int, emphasis: Callable[[str], str]) -> list[str]:
        """A row after the other: its words, and under them what belongs to each head."""
        lines = []
        for row in self.rows:
            named = _GAP.join(cell for cell in row[: self.words] if cell)
            told = "; ".join(
                f"{name} {cell}"
                for name, cell in zip(self.head[self.words :], row[self.words :], strict=True)
                if cell
            )
            lines += [emphasis(line) for line in folded(named, width)]
            lines += folded(f"    {told}", width)
        return lines

    def html(self) -> str:
        """For a notebook; texts are escaped."""
        html = self._set(self.head, self.rows, "html")
        return html.replace("<table>", '<table style="border-spacing:1em .1em">', 1)

    def _set(
        self,
        head: Sequence[str],
        rows: Sequence[Sequence[str]],
        form: str,
        widths: Sequence[int] | None = None,
    ) -> str:
        """Set the columns; texts that look like numbers stay as they are."""
        # Here, so that only tables wait for the library.
        from tabulate import tabulate  # noqa: PLC0415

        right = len(self.head) - self.words
        return str(
            tabulate(
                rows, head, tablefmt=form, disable_numparse=True, preserve_whitespace=True,
                colalign=["left"] * self.words + ["right"] * right, maxcolwidths=widths,
                break_long_words=False, break_on_hyphens=False,
            )
        )  # fmt: skip


Block = str | Table
_GAP = "  "
# What stands before a text: the further lines of it stand under what comes after.
_NUMBER = re.compile(r"[+-]?\d")
_MARKER = re.compile(r"\s*(?:\[.\] )?(?:\d+\. |\d+ x +|- )?")


class Report(Protocol):
    """What every report can do: its blocks for people, and plain values for programs."""

    def blocks(self) -> tuple[Block, ...]:
        """Sentences and tables in order; an empty string is a gap."""

    def lines(self) -> list[str]:
        """For a terminal."""

    def plain(self) -> dict[str, Any]:
        """For JSON: nothing but texts, numbers, lists, dicts and None."""


def lines_of(
    blocks: Iterable[Block], width: int | None = None, emphasis: Callable[[str], str] = str
) -> list[str]:
    """Blocks for a terminal, no wider than it is; see `Table.lines`."""
    return [
        line
        for block in blocks
        for line in (
            block.lines(width, emphasis) if isinstance(block, Table) else folded(block, width)
        )
    ]


def folded(text: str, width: int | None) -> list[str]:
    """A text on lines no wider than a terminal; only a word that is wider is."""
    lines = []
    for line in text.split("\n"):
        if width is None or len(line) <= width:
            lines.append(line)
            continue
        marker = _MARKER.match(line)
        under = " " * (marker.end() if marker else 0)
        lines += textwrap.wrap(
            line, width, subsequent_indent=under, break_long_words=False, break_on_hyphens=False
        )
    return lines


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
