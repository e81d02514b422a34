"""Running the commands: in an interpreter of their own, or in this one."""

import subprocess
import sys
from pathlib import Path

from click.testing import CliRunner

from presolder.render.cli import cli


def presolder(*arguments: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "presolder", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd)


def in_process(*arguments: str) -> str:
    """Standard output of a command, without starting an interpreter for it."""
    result = CliRunner().invoke(cli, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout
