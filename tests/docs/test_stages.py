"""The page of the dirt circuits is what the circuits are."""

import sys

from takes import DOCS


def test_page_is_up_to_date() -> None:
    sys.path.insert(0, str(DOCS))
    try:
        from make_stages import PAGE, text
    finally:
        sys.path.remove(str(DOCS))
    assert PAGE.read_text("utf-8") == text(), "run python docs/make_stages.py"
