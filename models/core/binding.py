"""The core's library: built in C for this machine, or as WebAssembly where that was not possible.

Both are ``models/loops.c`` and have the same functions, of numbers and of arrays
of 64-bit floats. The first is called by ctypes, which lets the interpreter go on
meanwhile; the second, the module that pages have too, by wasmtime.
"""

import atexit
import ctypes
from collections.abc import Callable
from functools import cache, partial
from importlib.resources import files
from importlib.util import find_spec
from typing import Any, Literal, TypeAlias

import numpy as np

from presolder.models.errors import InputError
from presolder.models.typing import Array

Origin = Literal["built", "WebAssembly"]
Given: TypeAlias = Array | int | float
Call: TypeAlias = Callable[..., int]
Step: TypeAlias = Callable[[int], int]
MISSING = (
    "the loops over samples were not compiled when presolder was built; install presolder anew"
    " where there is GCC or clang, or pip install wasmtime"
)
_PAGE_BYTES, _ALIGNED_BYTES = 1 << 16, 64


@cache
def _place() -> str | None:
    """Where the library that was built lies."""
    found = find_spec("presolder.models.loops")
    return None if found is None else found.origin


def origin() -> Origin:
    """Where the loops come from here."""
    return "WebAssembly" if _place() is None else "built"


@cache
def _library(place: str) -> ctypes.CDLL:
    return ctypes.CDLL(place)


@cache
def loaded() -> Call:
    """What calls a function of the library: its name, then what it takes.

    Arrays are C-contiguous 64-bit floats or have rows that lie apart, which
    their own argument says; whoever calls has seen to their shapes.

    Raises
    ------
    InputError
        If there is neither.
    """
    place = _place()
    return _built(place) if place is not None else _portable()


def _built(place: str) -> Call:
    functions: dict[str, Any] = {}
    built = _library(place)

    def call(name: str, *given: Given) -> int:
        function = functions.get(name)
        if function is None:
            function = functions[name] = getattr(built, name)
            function.argtypes = [_ctype(one) for one in given]
        return int(function(*(
            one.__array_interface__["data"][0] if isinstance(one, np.ndarray) else one
            for one in given
        )))  # fmt: skip

    return call


def bound(name: str, array: Array) -> Step:
    """A function of the library with an array of its own, to be called with a number often.

    Parameters
    ----------
    name : str
    array : ndarray
        C-contiguous 64-bit floats, which can be written; whoever calls keeps it.
    """
    place = _place()
    if place is None:
        portable = loaded()
        return lambda number: portable(name, array, number)
    function = getattr(_library(place), name)
    function.argtypes = [ctypes.c_void_p, ctypes.c_int]
    return partial(function, array.ctypes.data)


def _ctype(given: Given) -> type[ctypes.c_void_p | ctypes.c_int | ctypes.c_double]:
    if isinstance(given, np.ndarray):
        return ctypes.c_void_p
    return ctypes.c_int if isinstance(given, int) else ctypes.c_double


def _portable() -> Call:
    if find_spec("wasmtime") is None:
        raise InputError(MISSING)
    # Here, since it is needed where nothing was built only.
    import wasmtime  # noqa: PLC0415

    # What it holds must go before the interpreter does.
    atexit.register(loaded.cache_clear)
    store = wasmtime.Store()
    text = files("presolder.models.core").joinpath("core.wasm").read_bytes()
    module = wasmtime.Module(store.engine, text)
    exports: Any = wasmtime.Instance(store, module, []).exports(store)
    memory = exports["memory"]
    heap = memory.data_len(store)

    def call(name: str, *given: Given) -> int:
        places: list[int | float] = []
        arrays: list[tuple[int, Array]] = []
        end = heap
        for one in given:
            places.append(end if isinstance(one, np.ndarray) else one)
            if isinstance(one, np.ndarray):
                arrays.append((end, one))
                end += -(-_bytes(one) // _ALIGNED_BYTES) * _ALIGNED_BYTES
        wanting = end - memory.data_len(store)
        if wanting > 0:
            memory.grow(store, -(-wanting // _PAGE_BYTES))
        room = np.ctypeslib.as_array(memory.data_ptr(store), (memory.data_len(store),))
        seen = [np.ndarray(one.shape, np.float64, room.data, at, one.strides) for at, one in arrays]
        for inside, (_, one) in zip(seen, arrays, strict=True):
            inside[...] = one
        result: int | None = exports[name](store, *places)
        for inside, (_, one) in zip(seen, arrays, strict=True):
            if one.flags.writeable:
                one[...] = inside
        return result or 0

    return call


def _bytes(array: Array) -> int:
    """From an array's first number to its last, whatever lies between its rows."""
    steps = zip(array.shape, array.strides, strict=True)
    between: int = sum((size - 1) * stride for size, stride in steps)
    return between + array.itemsize
