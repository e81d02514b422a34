"""What stands between callers and the functions: a slip in what is given is said in one line."""

import inspect
from collections.abc import Callable, Iterable
from functools import wraps
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from presolder.models.errors import InputError, one_line

Result = TypeVar("Result")
# Where it is said now what was an argument of its own.
_MOVED = {
    **dict.fromkeys(
        ("plays", "take", "tone_weight", "speaker"), "judging=Judging(plays=..., take=...)"
    ),
    "dials": "judging=Judging(left_at=...), contents=Contents(held_at=...), or shown_at",
    "judged_dials": "judging=Judging(left_at=...)",
    "shown_dials": "shown_at",
    "listening_level": "judging=Judging(listening_level_db=...)",
    **dict.fromkeys(
        ("sweep", "workshop", "note", "recordings", "listening", "light", "single_file",
         "allow_large"),
        "contents=Contents(...)",
    ),
    **dict.fromkeys(
        ("stairs", "beside_bare", "phrase_s"), "comparing=Comparing(...), of a pack in its contents"
    ),
    "stair_dials": "comparing=Comparing(held_at=...), of a pack in its contents",
}  # fmt: skip
# What a function meets that was given something of another kind.
_SLIPS = (TypeError, ValueError, AttributeError, LookupError, ArithmeticError)


def said_in_one_line(function: Callable[..., Result]) -> Callable[..., Result]:
    """A function whose callers hear what they gave that is not of its kind.

    What is given is looked at only after something went wrong with it; where all is of
    its kind, the fault is the function's own and goes on as it is.
    """

    @wraps(function)
    def called(*given: Any, **named: Any) -> Result:
        try:
            return function(*given, **named)
        except InputError as error:
            if "\n" not in str(error):
                raise
            raise type(error)(one_line(str(error))) from None
        except _SLIPS:
            slip = _slip(function, given, named)
            if slip is None:
                raise
            raise InputError(slip) from None

    return called


def _slip(
    function: Callable[..., object], given: tuple[Any, ...], named: dict[str, Any]
) -> str | None:
    """What is not of the kind that a function takes."""
    # Loaded by those who made a slip, as is what looks at kinds.
    from presolder._asked import Judging
    from presolder.render.listening.comparisons import Comparing
    from presolder.render.listening.job import Contents

    signature = inspect.signature(function)
    for name in named:
        if name not in signature.parameters and name in _MOVED:
            return f"{function.__name__}: {name} has moved; give {_MOVED[name]}"
    try:
        arguments = signature.bind(*given, **named).arguments
    except TypeError as error:
        return f"{function.__name__}: {error}"
    for name, value in arguments.items():
        if isinstance(value, Judging | Contents | Comparing):
            slip = _unlike(type(value), vars(value), f"{name}.")
            if slip is not None:
                return slip
    return _unlike(function, arguments)


def _unlike(
    described: Callable[..., object], given: dict[str, Any], within: str = ""
) -> str | None:
    """Which of some values is not of the kind that a function takes, or a class holds."""
    from typeguard import CollectionCheckStrategy, TypeCheckError, check_type

    hints = get_type_hints(described)
    for name, value in given.items():
        # A number of the array library is as good as Python's.
        plain = value.item() if hasattr(value, "dtype") and not getattr(value, "ndim", 1) else value
        wanted = hints[name]
        # Of these the library looks at no item.
        if isinstance(plain, Iterable):
            plain, wanted = _listed(plain, wanted)
        try:
            check_type(plain, wanted, collection_check_strategy=CollectionCheckStrategy.ALL_ITEMS)
        except TypeCheckError:
            return f"{within}{name} = {_shown(value)}: {_wanted(described, name)} is wanted"
    return None


def _listed(value: Iterable[object], hint: Any) -> tuple[object, Any]:
    """What may be any iterable of something as a list of it, so that each item counts."""
    options = get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)
    items = [get_args(one)[0] for one in options if get_origin(one) is Iterable]
    others = [one for one in options if get_origin(one) is not Iterable]
    if not items or any(isinstance(value, one) for one in others if isinstance(one, type)):
        return value, hint
    return list(value), list.__class_getitem__(items[0])


def _shown(value: object) -> str:
    text = " ".join(repr(value).split())
    return text if len(text) <= 40 else f"{text[:37]}..."


def _wanted(function: Callable[..., object], name: str) -> str:
    """A parameter's kind, as the documentation has it."""
    for line in (inspect.getdoc(function) or "").splitlines():
        names, colon, kind = line.partition(" : ")
        if colon and name in (one.strip() for one in names.split(",")):
            return kind.removesuffix(", optional")
    return "what the documentation says"
