"""The page of the dirt circuits is what the circuits are."""

import sys

from takes import PROGRAMS


def test_page_is_up_to_date() -> None:
    sys.path.insert(0, str(PROGRAMS))
    try:
        from make_stages import PAGE, text
    finally:
        sys.path.remove(str(PROGRAMS))
    assert PAGE.read_text("utf-8") == text(), "run python docs/programs/make_stages.py"
