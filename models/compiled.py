"""Where the loops over samples come from: built in C, compiled by numba, or plain Python.

Each is written in Python, and once more in C (``loops.c``), which is compiled
when presolder is built. Where that was not possible, numba compiles the Python
if it is installed; else Python runs it, some hundred times slower.
"""

import warnings
from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any, Literal, Protocol, TypeVar

from presolder.models.errors import CacheWarning, SlowLoopsWarning

Function = TypeVar("Function", bound=Callable[..., Any])
Origin = Literal["built", "numba", "python"]
SLOW = (
    "the loops over samples were not compiled when presolder was built, so that a render takes"
    " some hundred times as long; install presolder anew where there is a C compiler, or numba"
)


try:
    _BUILT: ModuleType | None = import_module("presolder.models.loops")
except ImportError:
    _BUILT = None


def origin() -> Origin:
    """Where the loops come from here."""
    if _BUILT is not None:
        return "built"
    return "python" if find_spec("numba") is None else "numba"


if origin() == "python":
    warnings.warn(SlowLoopsWarning(SLOW), stacklevel=2)


def compiled(function: Function) -> Function:
    """The loop of this name that was built, or else the given one, compiled at its first call.

    Divisions by 0 give infinity, as in numpy. What only loops call stays as it
    is where those are built. What numba compiles is kept on disk; if it cannot
    be read or written there (a power cut, a full disk), it is compiled anew for
    this run, which is said.
    """
    if _BUILT is not None:
        loop: Function = getattr(_BUILT, function.__name__, function)
        return loop
    if origin() == "python":
        return function
    numba: Any = import_module("numba")
    dispatcher = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    dispatcher._cache = _Forgiving(dispatcher._cache)
    done: Function = dispatcher
    return done


class _Cache(Protocol):
    """What numba keeps compiled functions in."""

    def load_overload(self, *given: object) -> object: ...

    def save_overload(self, *given: object) -> None: ...

    def flush(self) -> None: ...


class _Forgiving:
    """A cache of numba's, whose failures are warnings."""

    def __init__(self, cache: _Cache) -> None:
        self._cache = cache

    def __getattr__(self, name: str) -> object:
        return getattr(self._cache, name)

    def load_overload(self, *given: object) -> object:
        """What is kept, or None."""
        try:
            return self._cache.load_overload(*given)
        # Unpickling junk raises whatever it likes.
        except Exception as error:
            _tell(error)
            self._renew()
            return None

    def save_overload(self, *given: object) -> None:
        """Keep it, where that is possible."""
        try:
            self._cache.save_overload(*given)
        except Exception as error:
            _tell(error)

    def _renew(self) -> None:
        """Begin the index afresh, so that the next run finds a whole one."""
        try:
            self._cache.flush()
        except OSError as error:
            _tell(error)


def _tell(error: Exception) -> None:
    warnings.warn(
        CacheWarning(
            "the cache of compiled loops cannot be used and is made anew"
            f" ({type(error).__name__}); this run takes some seconds longer"
        ),
        stacklevel=2,
    )
