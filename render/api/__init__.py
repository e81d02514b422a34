"""Hear a guitar volume-control modification before anyone heats an iron.

Usually imported as ``import presolder as ps``. Every name is loaded when it is
first used, so that importing this costs next to nothing.
"""

import importlib

import lazy_loader

# The folder of files and commands is a package of the same name as the function
# that renders. Python binds a package's name here when it first loads it. Loading
# it now and taking the name away again leaves the name to the function for good.
importlib.import_module(f"{__name__}.render")
del globals()["render"]

_load, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)


# Where it is now what had a name of its own.
_GONE = {
    **{f"{one}_everywhere": f"{one}, which takes situations too" for one in (
        "need", "compare", "tailor",
    )},
    "Recording": "Take; what Take was is Capture",
}  # fmt: skip


def __getattr__(name: str) -> object:
    if name in _GONE:
        raise AttributeError(f"presolder.{name} is gone; it is {_GONE[name]}")
    found = _load(name)
    if name in __all__ and callable(found) and not isinstance(found, type):
        from ._face import said_in_one_line

        found = said_in_one_line(found)
    globals()[name] = found
    return found
