"""Running the commands, in an interpreter of their own or in this one; and loading programs."""

import contextlib
import importlib.util
import io
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

from click.testing import CliRunner

from presolder.render.cli import cli, run

Completed = subprocess.CompletedProcess[str]


def presolder(*arguments: str | Path, cwd: Path | None = None) -> Completed:
    """A real process, start to end."""
    command = [sys.executable, "-m", "presolder", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd)


def presolder_here(*arguments: str | Path, cwd: Path | None = None, answers: str = "") -> Completed:
    """The same entry point with its messages and exit codes, without starting an interpreter."""
    command = ["presolder", *map(str, arguments)]
    out, err, code = io.StringIO(), io.StringIO(), 0
    with (
        mock.patch.object(sys, "argv", command),
        mock.patch.object(sys, "stdin", io.StringIO(answers)),
        contextlib.chdir(cwd or Path.cwd()),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = run()
    return subprocess.CompletedProcess(command, code, out.getvalue(), err.getvalue())


def in_process(*arguments: str, status: int = 0) -> str:
    """Standard output of a command, without starting an interpreter for it."""
    result = CliRunner().invoke(cli, arguments, catch_exceptions=False)
    assert result.exit_code == status, result.output
    return result.stdout


def program_at(path: Path) -> Any:
    """A program that lies beside the packages, as a module that has not been run."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


# A short loop, compiled by numba as the long ones are where none were built.
NUMBA_PROGRAM = """\
import sys; sys.modules['presolder.models.loops'] = None
from presolder.models.compiled import compiled
@compiled
def twice(number: float) -> float:
    return 2.0 * number
print(twice(21.0), twice(4))
"""
NUMBA_PRINTS = "42.0 8.0\n"


def numba_program(folder: Path, cache: Path, limit: Callable[[], None] | None = None) -> Completed:
    """Run it from a folder, with numba's cache in another."""
    program = folder / "loop.py"
    program.write_text(NUMBA_PROGRAM)
    return subprocess.run(
        [sys.executable, program], capture_output=True, text=True, check=False,
        env=os.environ | {"NUMBA_CACHE_DIR": str(cache)}, preexec_fn=limit,
    )  # fmt: skip
