"""The table of docs/validation.md: how its numbers are written and read back."""

import re

from check_row import Row
from takes import DOCS

PAGE = DOCS / "validation.md"


def written(row: Row) -> str:
    # A hundredth of the limit is rounding noise that changes with the machine.
    noise = 0.01 * row.limit
    if 0 <= row.worst < noise:
        return f"below {noise:g}"
    return f"{row.worst:.3g}" if row.worst >= 0 else f"{row.worst:.1f}"


def table(rows: list[Row]) -> str:
    lines = ["| source | what was compared | cases | worst | limit |", "|---|---|---|---|---|"]
    for row in rows:
        unit = f" {row.unit}" if row.unit else ""
        lines.append(
            f"| {row.source} | {row.compared} | {row.cases} | {written(row)}{unit} | {row.limit:g}{unit} |"
        )
    return "\n".join(lines)


def committed_numbers(page: str) -> list[tuple[int, str]]:
    """Cases and worst difference of each row of the first table."""
    first = page.partition("\n## ")[0]
    found = re.findall(r"^\| .* \| .* \| (\d+) \| ([^|]+) \| [^|]+ \|$", first, flags=re.MULTILINE)
    return [(int(cases), worst) for cases, worst in found]


def same_number(row: Row, worst: str) -> bool:
    """Whether the page's number is this row's, to within rounding.

    Rounding of the last figure shown, or 0.5 dB of a level so far down that
    library versions move it.
    """
    now = written(row).split()
    then = worst.split()
    if now[0] == "below" or then[0] == "below":
        return now[:2] == then[:2]
    slack = 0.5 if row.worst < 0 else 0.02 * abs(row.worst) + 1e-12
    return abs(float(now[0]) - float(then[0])) <= slack
