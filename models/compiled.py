"""Compiling the inner loops: numba, cached on disk, of which a damaged cache breaks nothing."""

import warnings
from collections.abc import Callable
from typing import Any, Protocol, TypeVar

from numba import njit

from presolder.models.errors import CacheWarning

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile a function at its first call; divisions by 0 give infinity, as in numpy.

    What is compiled is kept on disk. If it cannot be read or written there
    (a power cut, a full disk), it is compiled anew for this run, which is said.
    """
    dispatcher: Any = njit(cache=True, nogil=True, error_model="numpy")(function)
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
