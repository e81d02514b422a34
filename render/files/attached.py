"""Programs that end when the run that called them does, however that ended."""

import os
import sys
from collections.abc import Sequence

_PYTHON = sys.executable
# Run in the child: asks the kernel for a signal on its parent's death, sees whether that came
# first, and becomes the program.
_BECOMES = """
import ctypes, os, sys
ctypes.CDLL(None).prctl(1, 15)
if os.getppid() == int(sys.argv[1]):
    os.execvp(sys.argv[2], sys.argv[2:])
"""


def attached(command: Sequence[str]) -> list[str]:
    """The command line of a program that is stopped with this process; on Linux, else as it is.

    Parameters
    ----------
    command : sequence of str
        A program and its arguments. It is stopped with the *thread* that starts
        it, which must therefore wait for it.
    """
    if sys.platform != "linux":
        return list(command)
    return [_PYTHON, "-I", "-S", "-c", _BECOMES, str(os.getpid()), *command]
