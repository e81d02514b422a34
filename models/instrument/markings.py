"""What is written on pots and cables, and how people say it."""

import re

from presolder.models.errors import InputError
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.law import NAMED_TAPERS, Taper, TaperKind
from presolder.models.instrument.quantities import parse_quantity, with_a_point

# Letters as pots are marked today, and everyday words: common practice, no source. On some
# older parts A is linear and B is not.
_LAW_WORDS: dict[str, TaperKind] = {
    **{kind: kind for kind in NAMED_TAPERS},
    **dict.fromkeys(("a", "log", "logarithmic"), "audio"),
    **dict.fromkeys(("b", "lin"), "linear"),
    **dict.fromkeys(("c", "reverse-log", "reverse log", "anti-log", "antilog"), "reverse-audio"),
}
_MARKING = re.compile(r"(?:([ABC])(?=\d))?(.*?)(?:\s*([ABC])|\s+([a-z][a-z -]*))?", re.DOTALL)
_LENGTH = re.compile(r"(\d+\.?\d*|\.\d+)\s*([a-zA-Z'\"′″]*)")
_METRES = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("cm",), 0.01),
    **dict.fromkeys(("mm",), 0.001),
    **dict.fromkeys(("ft", "foot", "feet", "'", "′"), 0.3048),
    **dict.fromkeys(("in", "inch", "inches", '"', "″"), 0.0254),
}


def law_of(word: str) -> TaperKind | None:
    """The law that a word or letter means; None if it means none."""
    return _LAW_WORDS.get(word.strip().lower())


def read_pot_marking(value: object) -> tuple[float, TaperKind | None]:
    """Resistance and law from what is written on a pot.

    Parameters
    ----------
    value : object
        A resistance in any spelling, with or without a law: ``"A500K"``,
        ``"500KA"``, ``"250k lin"``.

    Returns
    -------
    ohms : float
    law : TaperKind or None
        None if it does not say.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    if not isinstance(value, str):
        return parse_quantity(value, "ohm"), None
    match = _MARKING.fullmatch(value.strip())
    assert match is not None  # it takes any text
    before, ohms, after, word = match.groups()
    if word and law_of(word) is None:
        # Of the unit, as in "A500 kohm".
        ohms, word = f"{ohms} {word}", None
    laws = {law_of(said) for said in (before, after, word) if said}
    if len(laws) > 1 or (before and after):
        raise InputError(f"{value!r} says its taper twice; write for example A500K or 500K linear")
    return parse_quantity(ohms, "ohm"), laws.pop() if laws else None


def read_length(value: object) -> float:
    """A length in metres, from ``"15 ft"``, ``"4.5 m"`` or a number of metres.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    text = with_a_point(value.strip()) if isinstance(value, str) else ""
    match = _LENGTH.fullmatch(text)
    per = _METRES.get(match[2].lower()) if match and match[2] else None
    if match is None or per is None:
        raise InputError(f'{value!r} is not a length; write for example "4.5 m" or "15 ft"')
    return float(match[1]) * per


def marked_pot(marking: str) -> Pot:
    """A pot from what is written on it, with the midpoint that is usual for its law.

    Raises
    ------
    InputError
        If it cannot be read, or does not say its law.
    """
    ohms, law = read_pot_marking(marking)
    if law is None:
        raise InputError(f"{marking!r} does not say its taper; write A500K, B500K or C500K")
    return Pot(ohms, Taper(law))
