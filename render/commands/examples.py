"""How each command's help ends: with commands that one can type."""


def examples(*lines: str) -> str:
    """The end of a help text.

    Parameters
    ----------
    *lines : str
        Two or three whole command lines.

    Returns
    -------
    str
        Laid out as it stands, whatever the terminal's width.
    """
    return "\n".join(["\b", "Examples:", *(f"  {line}" for line in lines)])
