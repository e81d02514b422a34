"""The one exception that presolder raises for anything a user can put right."""

from collections.abc import Iterator
from contextlib import contextmanager


class InputError(Exception):
    """Something the user gave cannot be used as it stands.

    The message is one line that names where the value stood, the value itself
    and what would be accepted.
    """


class ImplausibleValueError(InputError):
    """A value that parts of its kind do not have; the user may insist on it."""


class OddValueWarning(UserWarning):
    """Something the user gave can be used, but is odd; one line, as for `InputError`."""


@contextmanager
def place(name: str) -> Iterator[None]:
    """Put a place in front of what goes wrong inside.

    Parameters
    ----------
    name : str
        A file, section or option, for example ``"my.toml: [pickup]"``. A
        message that names the place already stays as it is.

    Raises
    ------
    InputError
        Whatever the block raised, with the place before it.
    """
    try:
        yield
    except InputError as error:
        if str(error).startswith(name):
            raise
        raise type(error)(f"{name}: {error}") from None


def one_line(text: str) -> str:
    """Fold a message to one line."""
    return " ".join(text.split())
