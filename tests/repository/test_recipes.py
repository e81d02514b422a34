"""What DEVELOPERS.md says of adding things holds when it is done."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from takes import ROOT

# A new kind of each, and how a file shows that it tells the others apart.
PLANTED = {
    "models/instrument/network.py": (
        "Leaf = Resistor | Capacitor | Gang",
        "@dataclass(frozen=True)\nclass Inductor:\n    henries: float\n\n\n"
        "Leaf = Resistor | Capacitor | Gang | Inductor",
    ),
    "models/instrument/dirt.py": ('Literal["smooth", ', 'Literal["hard", "smooth", '),
}
TOLD_APART = (r"case Resistor\(", r'case "diodes"')


@pytest.mark.thorough
@pytest.mark.slow
def test_types_name_every_place_that_a_new_kind_needs(tmp_path: Path) -> None:
    """A part and a dirt curve, of which nothing but the name is known."""
    for name in ("models", "render", "tests/typed", "pyproject.toml"):
        copy = shutil.copy if (ROOT / name).is_file() else shutil.copytree
        (tmp_path / name).parent.mkdir(exist_ok=True)
        copy(ROOT / name, tmp_path / name, **({} if copy is shutil.copy else {"symlinks": True}))
    (tmp_path / "samples").mkdir()
    for name, (old, new) in PLANTED.items():
        text = (tmp_path / name).read_text("utf-8")
        assert text.count(old) == 1
        (tmp_path / name).write_text(text.replace(old, new), "utf-8")
    told = subprocess.run(
        [sys.executable, "-m", "mypy"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    named = set(re.findall(r"presolder/(\S+\.py):\d+: error", told.stdout))
    need = {
        path.relative_to(ROOT).as_posix()
        for room in ("models", "render")
        for path in (ROOT / room).rglob("*.py")
        if any(re.search(one, path.read_text("utf-8")) for one in TOLD_APART)
    }
    assert need
    assert need <= named, sorted(need - named)
