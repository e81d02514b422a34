"""The worked example in docs: run again, and compared with what is committed."""

import importlib.util
from pathlib import Path
from typing import Any

import pytest
from matplotlib.testing.compare import compare_images

from takes import DOCS, PROGRAMS


def program(name: str) -> Any:
    """One of those that make the documentation."""
    spec = importlib.util.spec_from_file_location(name, PROGRAMS / f"{name}.py")
    assert spec is not None and spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    return script


def require_same_picture(name: str, drawn: Path) -> None:
    """As committed, but for how a version of the plotting library smooths its lines."""
    differs = compare_images(DOCS / "pictures" / name, drawn, tol=1.0)
    assert differs is None, differs


@pytest.mark.slow
def test_walkthrough_says_what_the_commands_say(tmp_path: Path) -> None:
    script = program("make_walkthrough")
    text = script.build(tmp_path)
    assert text == (DOCS / "walkthrough.md").read_text("utf-8")
    for name in script.PICTURES:
        require_same_picture(name, tmp_path / name.removeprefix("walkthrough-"))
    sheet = (tmp_path / "sheet.html").read_text("utf-8")
    assert sheet == (DOCS / "walkthrough" / "sheet.html").read_text("utf-8")
    assert (tmp_path / "bench-7.zip").stat().st_size > 100_000


@pytest.mark.slow
def test_pictures_are_as_they_are_drawn_now(tmp_path: Path) -> None:
    script = program("make_pictures")
    script.draw_curves(tmp_path)
    script.draw_cleanup(tmp_path)
    for name in ("curves.png", "cleanup.png"):
        require_same_picture(name, tmp_path / name)
