"""The shape of the repository: style, types, layering, bundled data."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from running import program_at
from script import NODE, SCRIPT
from takes import ROOT


@pytest.mark.slow
@pytest.mark.parametrize("command", [["ruff", "check"], ["ruff", "format", "--check"], ["mypy"]])
def test_checkers_are_clean(command: list[str]) -> None:
    result = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stdout + result.stderr


@pytest.mark.slow
def test_script_is_lint_free_and_its_types_agree(tmp_path: Path) -> None:
    """ESLint and TypeScript's checker, from npm as the lock file has them, over both pages."""
    tools = Path("tests", "script")
    for folder in (tools, SCRIPT.relative_to(ROOT), Path("render", "bench", "script")):
        without = shutil.ignore_patterns("node_modules")
        shutil.copytree(ROOT / folder, tmp_path / folder, ignore=without)
    installed = tools / "node_modules"
    npm = NODE.parents[1] / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js"
    quiet = ("--no-audit", "--no-fund", "--ignore-scripts", "--prefer-offline")
    for command in (
        [NODE, npm, "ci", "--prefix", tools, *quiet],
        [NODE, installed / "eslint/bin/eslint.js", "-c", tools / "eslint.config.js", "render"],
        [NODE, installed / "typescript/bin/tsc", "-p", tools],
    ):
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr


def test_top_level_holds_nothing_else() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    top = {name.split("/")[0] for name in tracked if name and not name.startswith(".")}
    assert top == {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
        "render",
        "models",
        "tests",
        "samples",
        "docs",
    }


def test_pages_name_files_that_are_there() -> None:
    """Paths and file names in the pages, so that they move when a file does."""
    named = 0
    for page in [*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")]:
        for path in re.findall(
            r"`((?:models|render|samples|tests|docs)/[\w./-]+)", page.read_text("utf-8")
        ):
            named += 1
            assert (ROOT / path).exists(), (page.name, path)
    assert named > 20


@pytest.mark.thorough
def test_bundled_string_takes_are_what_their_script_makes() -> None:
    module = program_at(ROOT / "docs/programs/make_takes.py")
    for name, take in module.TAKES.items():
        bundled, rate = soundfile.read(ROOT / "samples" / f"{name}.flac", dtype="int16")
        assert rate == module.SAMPLE_RATE_HZ
        assert np.array_equal(bundled, module.make_take(*take))
