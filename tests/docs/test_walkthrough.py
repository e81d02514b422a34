"""The worked example in docs: run again, and compared with what is committed."""

import importlib.util
from pathlib import Path

import pytest

from takes import DOCS, PROGRAMS


@pytest.mark.slow
def test_walkthrough_says_what_the_commands_say(tmp_path: Path) -> None:
    spec = importlib.util.spec_from_file_location(
        "make_walkthrough", PROGRAMS / "make_walkthrough.py"
    )
    assert spec is not None and spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    text = script.build(tmp_path)
    assert text == (DOCS / "walkthrough.md").read_text("utf-8")
    for name in script.PICTURES:
        drawn = (tmp_path / name.removeprefix("walkthrough-")).read_bytes()
        assert drawn.startswith(b"\x89PNG") and len(drawn) > 20_000
        assert (DOCS / "pictures" / name).exists()
    sheet = (tmp_path / "sheet.html").read_text("utf-8")
    assert sheet == (DOCS / "walkthrough" / "sheet.html").read_text("utf-8")
    assert (tmp_path / "bench-7.zip").stat().st_size > 100_000
