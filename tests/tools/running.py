"""Running the commands, in an interpreter of their own or in this one; and loading programs."""

import contextlib
import importlib.util
import io
import subprocess
import sys
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
