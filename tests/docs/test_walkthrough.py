"""The worked example in docs: run again, and compared with what is committed."""

from pathlib import Path

import pytest
from matplotlib.testing.compare import compare_images

from running import program_at
from takes import DOCS, PROGRAMS


def require_same_picture(name: str, drawn: Path) -> None:
    """As committed, but for how a version of the plotting library smooths its lines."""
    differs = compare_images(DOCS / "pictures" / name, drawn, tol=1.0)
    assert differs is None, differs


@pytest.mark.thorough
def test_walkthrough_says_what_the_commands_say(tmp_path: Path) -> None:
    script = program_at(PROGRAMS / "make_walkthrough.py")
    text = script.build(tmp_path)
    assert text == (DOCS / "walkthrough.md").read_text("utf-8")
    for name in script.PICTURES:
        require_same_picture(name, tmp_path / name.removeprefix("walkthrough-"))
    sheet = (tmp_path / "sheet.html").read_text("utf-8")
    assert sheet == (DOCS / "walkthrough" / "sheet.html").read_text("utf-8")
    assert (tmp_path / "bench-7.zip").stat().st_size > 100_000


@pytest.mark.thorough
@pytest.mark.slow
def test_pictures_are_as_they_are_drawn_now(tmp_path: Path) -> None:
    script = program_at(PROGRAMS / "make_pictures.py")
    script.draw_curves(tmp_path)
    script.draw_cleanup(tmp_path)
    for name in ("curves.png", "cleanup.png"):
        require_same_picture(name, tmp_path / name)
