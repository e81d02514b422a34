"""What one must know of a guitar, how to ask for it, and what is typical of its kind.

Typical values and ranges are from memory, common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from presolder.models.errors import InputError
from presolder.models.instrument.controls import TONE_WIRINGS
from presolder.models.instrument.law import BENT_TAPERS
from presolder.models.instrument.markings import law_of, read_length, read_pot_marking
from presolder.models.instrument.plausible import Kind, oddity
from presolder.models.instrument.player import PLAYING
from presolder.models.instrument.quantities import Unit, parse_quantity, with_a_point

PickupKind = Literal["humbucker", "single-coil", "wide-single-coil", "low-output-humbucker"]
PICKUP_KINDS: tuple[PickupKind, ...] = get_args(PickupKind)
NONE = "none"
_UNKNOWN = {"", "?", "don't know", "dont know", "don’t know", "unknown", "no idea"}


@dataclass(frozen=True)
class Question:
    """One thing to know of a guitar.

    Attributes
    ----------
    key : str
        Section and key of the rig file.
    asks : str
    explains : str
        In a line: where the answer is found, and what is usual.
    reads : {"ohm", "farad", "henry", "pot", "law", "length", "number", "fraction", "word"}
        How an answer is read.
    kind : Kind or None
        What it must be plausible for.
    words : tuple of str
        What may be answered, if few words may.
    measure : str
        The command that measures it, if one does.
    """

    key: str
    asks: str
    explains: str
    reads: Unit | Literal["pot", "law", "length", "number", "fraction", "word"]
    kind: Kind | None = None
    words: tuple[str, ...] = ()
    measure: str = ""

    @property
    def is_number(self) -> bool:
        """Whether the rig file has it as a plain number."""
        return self.reads in ("number", "fraction")

    def check(self, answer: str) -> str:
        """Refuse an answer that cannot be used; say what is odd about it, if anything.

        Raises
        ------
        InputError
            Naming what would be accepted.
        """
        if self.words and answer in self.words:
            return ""
        match self.reads:
            case "ohm" | "farad" | "henry":
                value = parse_quantity(answer, self.reads)
            case "pot":
                value = read_pot_marking(answer)[0]
            case "length":
                value = read_length(answer)
            case "number" | "fraction":
                value = _number(answer)
                if self.reads == "fraction" and not 0 < value < 1:
                    raise InputError(f"{answer!r} must lie between 0 and 1")
            case "law":
                if law_of(answer) is None and not answer.lower().endswith(".csv"):
                    raise InputError(
                        f"{answer!r} must be audio, linear, reverse-audio, two-slope or a CSV file"
                    )
                return ""
            case _:
                raise InputError(f"{answer!r} must be one of {', '.join(self.words)}")
        if not value > 0:
            raise InputError(f"{answer!r} must be above 0")
        return "" if self.kind is None else oddity(self.kind, value) or ""


def _number(answer: str) -> float:
    try:
        return float(with_a_point(answer))
    except ValueError:
        raise InputError(f"{answer!r} must be a number") from None


KIND_QUESTION = Question(
    "pickup", "Kind of pickup",
    "What is typical of the rest goes by this. One coil or two, and how wide.",
    "word", words=PICKUP_KINDS,
)  # fmt: skip
QUESTIONS = (
    Question(
        "pickup.resistance", "Winding resistance",
        "An ohmmeter across the pickup's leads, or 'presolder taper' at the jack; usual 5k to 16k.",
        "ohm", "winding resistance", measure="presolder taper",
    ),
    Question(
        "pickup.inductance", "Inductance",
        "No multimeter reads it, 'presolder pickup' measures it; usual 2 H to 8 H.",
        "henry", "pickup inductance", measure="presolder pickup",
    ),
    Question(
        "pickup.capacitance", "Winding capacitance",
        "Measured along with the inductance; usual 80p to 250p.",
        "farad", "winding capacitance", measure="presolder pickup",
    ),
    Question(
        "pickup.eddy", "Eddy-current loss resistor",
        "Metal near the coil damps it, which acts like a resistor across it; usual 50k to 1M.",
        "ohm", "eddy resistance", measure="presolder pickup",
    ),
    Question(
        "volume.resistance", "Volume pot",
        "As marked on its case, such as A500K; usual 250k with single coils, 500k with humbuckers.",
        "pot", "volume pot", measure="presolder taper",
    ),
    Question(
        "volume.taper", "Its taper",
        "audio (log, A) or linear (B); marked on the pot, measured by 'presolder taper'.",
        "law", measure="presolder taper",
    ),
    Question(
        "volume.midpoint", "How much of its track lies below the wiper at half",
        "A fraction that only measuring tells, with 'presolder taper'; usual 0.1 to 0.2.",
        "fraction", measure="presolder taper",
    ),
    Question(
        "tone.resistance", "Tone pot",
        "As marked; none if there is no tone control; usual 250k or 500k.",
        "pot", "tone pot", words=(NONE,),
    ),
    Question(
        "tone.capacitance", "Tone capacitor",
        "As marked, such as .022uf, 22n or 223; usual 10n to 47n.",
        "farad", "tone capacitor",
    ),
    Question(
        "tone.wiring", "Tone wiring",
        "modern: its wire is at the volume pot's input lug; fifties: at the wiper lug.",
        "word", words=TONE_WIRINGS,
    ),
    Question(
        "cable.length", "Cable length",
        "From the guitar to the first input, such as 15 ft or 4.5 m; usual 3 m to 9 m.",
        "length", "cable length", measure="presolder cable",
    ),
    Question(
        "cable.picofarads_per_m", "Cable capacitance, pF a metre",
        "On its data sheet, or 'presolder cable' measures it; usual 70 to 160.",
        "number", "cable capacitance a metre", measure="presolder cable",
    ),
    Question(
        "input.resistance", "Input it feeds",
        "Amplifiers and most pedals 1M, some old fuzzes 10k.",
        "ohm", "input resistance",
    ),
    Question(
        "player.plays", "How the volume knob is played",
        "full: left at 10; rolls-back: to 8, 7 or 6; swells: all the way; cleans-up-dirt.",
        "word", words=PLAYING,
    ),
)  # fmt: skip
_ALIKE = {
    "volume.taper": "audio",
    "volume.midpoint": "0.15",
    "tone.capacitance": "22n",
    "tone.wiring": "modern",
    "cable.length": "5 m",
    "cable.picofarads_per_m": "100",
    "input.resistance": "1M",
    "player.plays": "rolls-back",
}


def _typical(ohms: str, henries: str, farads: str, eddy: str, pot: str) -> dict[str, str]:
    return {
        "pickup.resistance": ohms,
        "pickup.inductance": henries,
        "pickup.capacitance": farads,
        "pickup.eddy": eddy,
        "volume.resistance": pot,
        "tone.resistance": pot,
        **_ALIKE,
    }


TYPICAL: dict[PickupKind, dict[str, str]] = {
    "humbucker": _typical("8k", "4.5 H", "120p", "300k", "500k"),
    "low-output-humbucker": _typical("7k2", "3.6 H", "110p", "250k", "500k"),
    "single-coil": _typical("6k", "2.5 H", "110p", "400k", "250k"),
    "wide-single-coil": _typical("8k", "5.5 H", "90p", "350k", "500k"),
}


def typical(question: Question, kind: str) -> str:
    """The usual answer for a kind of pickup, the commonest one if it is not known."""
    if question is KIND_QUESTION:
        return PICKUP_KINDS[0]
    known = next((k for k in PICKUP_KINDS if k == kind), PICKUP_KINDS[0])
    return TYPICAL[known][question.key]


@dataclass(frozen=True)
class Starter:
    """A guitar's answers, and which of them nobody gave.

    Attributes
    ----------
    answers : dict of str
        By key of the questions, as for the rig file.
    guessed : tuple of str
        Keys whose value is typical and not known.
    title : str
    """

    answers: dict[str, str]
    guessed: tuple[str, ...]
    title: str


def is_unknown(answer: str) -> bool:
    """Whether an answer says that one does not know."""
    return answer.strip().lower() in _UNKNOWN


def starter(answers: Mapping[str, str], title: str = "") -> Starter:
    """Fill in what is typical where the answer is not known.

    Parameters
    ----------
    answers : mapping of str
        By key of the questions; ``"pickup"`` is the kind of pickup. What is
        missing or says "don't know" becomes the typical value.
    title : str

    Returns
    -------
    Starter

    Raises
    ------
    InputError
        If an answer cannot be used, or there is no such question.
    """
    kind = _kind_of(answers)
    keys = {question.key for question in QUESTIONS}
    unknown = next((key for key in answers if key not in keys and key != KIND_QUESTION.key), None)
    if unknown is not None:
        raise InputError(f"{unknown!r} is no question; one of {', '.join(sorted(keys))}")
    filled, guessed = {}, []
    answers = {**answers, **marked_laws(answers)}
    for question in QUESTIONS:
        answer = answers.get(question.key, "").strip()
        if is_unknown(answer):
            answer = typical(question, kind)
            guessed.append(question.key)
        filled[question.key] = answer
    if filled["tone.resistance"] == NONE:
        filled = {key: value for key, value in filled.items() if not key.startswith("tone.")}
    if not bends(filled["volume.taper"]):
        filled.pop("volume.midpoint")
    found = tuple(key for key in guessed if key in filled)
    return Starter(
        filled, found, title or f"{kind} into a {filled['volume.resistance']} volume pot"
    )


def bends(law: str) -> bool:
    """Whether a law, as written, has a midpoint."""
    return law_of(law) in BENT_TAPERS


def marked_laws(answers: Mapping[str, str]) -> dict[str, str]:
    """The volume pot's taper where its marking says it and no other answer does."""
    written = answers.get("volume.resistance", "")
    told = not is_unknown(answers.get("volume.taper", ""))
    law = None if is_unknown(written) or told else read_pot_marking(written)[1]
    return {} if law is None else {"volume.taper": law}


def _kind_of(answers: Mapping[str, str]) -> PickupKind:
    word = answers.get(KIND_QUESTION.key, "")
    word = PICKUP_KINDS[0] if is_unknown(word) else word.strip()
    for kind in PICKUP_KINDS:
        if word == kind:
            return kind
    raise InputError(f"pickup = {word!r} must be one of {', '.join(PICKUP_KINDS)}")
