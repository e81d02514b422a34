"""The page of the dirt circuits is what the circuits are."""

from running import program_at
from takes import PROGRAMS


def test_page_is_up_to_date() -> None:
    stages = program_at(PROGRAMS / "make_stages.py")
    assert stages.PAGE.read_text("utf-8") == stages.text(), (
        "run python docs/programs/make_stages.py"
    )
