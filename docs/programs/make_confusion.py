"""Write the table of planted faults in docs/measuring.md.

``python docs/programs/make_confusion.py``. The tests make the table again and compare.
"""

import sys
from pathlib import Path

DOCS = Path(__file__).parents[1]
sys.path.insert(0, str(DOCS.parent / "tests" / "tools"))

from confusion import matrix, table

START, END = "<!-- planted faults -->\n", "<!-- end of planted faults -->"


def with_table(page: str) -> str:
    """The page with its table made anew."""
    before, _, rest = page.partition(START)
    _, _, after = rest.partition(END)
    return f"{before}{START}{table(matrix())}\n{END}{after}"


if __name__ == "__main__":
    page = DOCS / "measuring.md"
    page.write_text(with_table(page.read_text("utf-8")), "utf-8")
