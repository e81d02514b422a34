"""The one exception that presolder raises for anything a user can put right."""


class InputError(ValueError):
    """Something the user gave cannot be used as it stands.

    The message is one line that names where the value stood, the value itself
    and what would be accepted.
    """


def within(message: InputError, place: str) -> InputError:
    """Return the error again with the place it came from put in front.

    Parameters
    ----------
    message : InputError
        The error as raised by a function that did not know its caller's place.
    place : str
        A file, section or option, for example ``"my.toml: [pickup]"``.
    """
    return InputError(f"{place}: {message}")
