"""What one must know of a guitar, how to ask for it, and what is typical of its kind.

The first questions are enough for advice; the others make it surer.

Typical values and ranges are from memory, common practice, no source.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
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
_BY_LENGTH = re.compile(
    r"(.*?)\s*(?:pf)?\s*(?:(?:/|per)\s*(m|metre|meter|ft|foot))?", re.IGNORECASE | re.DOTALL
)
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
        What may be answered, if few words may: by name, by any beginning of it that no other
        has, or by number.
    meanings : tuple of str
        What each means, in a player's words.
    values : tuple of str
        What each stands for in the rig file, where that is not the word itself.
    measure : str
        The command that measures it, if one does.
    """

    key: str
    asks: str
    explains: str
    reads: Unit | Literal["pot", "law", "length", "number", "fraction", "word"]
    kind: Kind | None = None
    words: tuple[str, ...] = ()
    meanings: tuple[str, ...] = ()
    values: tuple[str, ...] = ()
    measure: str = ""

    @property
    def is_number(self) -> bool:
        """Whether the rig file has it as a plain number."""
        return self.reads in ("number", "fraction")

    def read(self, answer: str) -> tuple[str, str]:
        """An answer as the rig file has it, and what is odd about it, if anything.

        Raises
        ------
        InputError
            Naming what would be accepted.
        """
        written = self.written(answer)
        known = self.reads == "fraction" or self._chosen(answer.strip()) is not None
        return written, "" if known else self._odd(written)

    def written(self, answer: str) -> str:
        """An answer as the rig file has it, plausible or not.

        Raises
        ------
        InputError
            If it cannot be read.
        """
        answer = answer.strip()
        chosen = self._chosen(answer)
        if chosen is not None:
            return chosen
        if self.reads == "number":
            return f"{_picofarads_per_m(answer):.6g}"
        if self.reads == "fraction":
            value = _number(answer.rstrip("% ")) / (100.0 if answer.endswith("%") else 1.0)
            if not 0 < value < 1:
                raise InputError(f"{answer!r} must lie between 0 and 1")
            return f"{value:.6g}"
        if self.reads == "word":
            numbers = f", or 1 to {len(self.words)}"
            raise InputError(f"{answer!r} must be one of {', '.join(self.words)}{numbers}")
        return answer

    def _chosen(self, answer: str) -> str | None:
        """The value of the word that is meant, or None."""
        values = self.values or self.words
        said = re.sub(r"[\s_]+", "-", answer.lower())
        if self.reads == "ohm" and said in ("inf", "infinite", "none", "open"):
            return "inf" if self.key.startswith("input.") else None
        if said in self.words:
            return values[self.words.index(said)]
        if self.words and said.isdecimal() and (self.reads == "word" or len(said) == 1):
            number = int(said)
            return values[number - 1] if 1 <= number <= len(self.words) else None
        begun = [at for at, word in enumerate(self.words) if said and word.startswith(said)]
        return values[begun[0]] if len(begun) == 1 else None

    def _odd(self, answer: str) -> str:
        match self.reads:
            case "ohm" | "farad" | "henry":
                value = parse_quantity(answer, self.reads)
            case "pot":
                value = read_pot_marking(answer)[0]
            case "length":
                value = read_length(answer)
            case "number":
                value = _number(answer)
            case "law":
                if law_of(answer) is None and not answer.lower().endswith(".csv"):
                    raise InputError(
                        f"{answer!r} must be audio, linear, reverse-audio, two-slope or a CSV file"
                    )
                return ""
            case _:
                return ""
        if not value > 0:
            raise InputError(f"{answer!r} must be above 0")
        return "" if self.kind is None else oddity(self.kind, value) or ""


def _number(answer: str) -> float:
    try:
        return float(with_a_point(answer))
    except ValueError:
        raise InputError(f"{answer!r} must be a number") from None


def _picofarads_per_m(answer: str) -> float:
    """Of a cable, by the metre or by the foot."""
    match = _BY_LENGTH.fullmatch(answer)
    assert match is not None  # it takes any text
    number, per = match.groups()
    return _number(number) / (0.3048 if per and per.lower().startswith("f") else 1.0)


KIND_QUESTION = Question(
    "pickup", "Kind of pickup",
    "What is typical of the rest goes by this. One coil or two, and how wide.",
    "word", words=PICKUP_KINDS,
    meanings=("two coils side by side", "one narrow coil", "one wide coil",
              "two coils, few turns"),
)  # fmt: skip
COUNT_QUESTION = Question(
    "pickups", "Pickups that share this volume knob",
    "Each is taken to be like the others; the rig file is where to change one.",
    "word", words=("1", "2", "3"),
)  # fmt: skip
SWITCH_QUESTION = Question(
    "switch", "Pickup switch",
    "Each of its positions is judged; a five-way has those between, two pickups side by side.",
    "word", words=("three-way", "five-way"),
)  # fmt: skip
# By number of pickups and switch: the pickups' names, and what each position has on.
_NAMES = {"2": ("neck", "bridge"), "3": ("neck", "middle", "bridge")}
_POSITIONS: dict[tuple[str, str], dict[str, str]] = {
    ("2", "three-way"): {"neck": "neck", "both": "neck || bridge", "bridge": "bridge"},
    ("3", "three-way"): {name: name for name in _NAMES["3"]},
    ("3", "five-way"): {
        "neck": "neck", "neck and middle": "neck || middle", "middle": "middle",
        "middle and bridge": "middle || bridge", "bridge": "bridge",
    },
}  # fmt: skip
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
        "What the cable goes into first, or its resistance, or inf for none.",
        "ohm", "input resistance", words=("amplifier", "pedal", "old-fuzz"),
        meanings=("1M, as an interface's instrument input", "1M, as most have", "10k"),
        values=("1M", "1M", "10k"),
    ),
    Question(
        "player.plays", "What you do with the volume knob",
        "Where it is left decides what is heard, and so which parts are right.",
        "word", words=PLAYING,
        meanings=(
            "I leave it at 10",
            "I turn it down to 8, 7 or 6, and it gets dull",
            "I use all of it, as for swells",
            "I turn it down to clean up an overdrive or a fuzz",
        ),
    ),
)  # fmt: skip
# What advice cannot do without.
_BY_KEY = {question.key: question for question in QUESTIONS}
FIRST_QUESTIONS = (
    _BY_KEY["player.plays"], KIND_QUESTION, _BY_KEY["volume.resistance"],
    _BY_KEY["cable.length"], _BY_KEY["input.resistance"],
)  # fmt: skip
ALL_QUESTIONS = (KIND_QUESTION, COUNT_QUESTION, SWITCH_QUESTION, *QUESTIONS)
USUAL_PICOFARADS_PER_M = 100.0
_ALIKE = {
    "volume.taper": "audio",
    "volume.midpoint": "0.15",
    "tone.capacitance": "22n",
    "tone.wiring": "modern",
    "cable.length": "5 m",
    "cable.picofarads_per_m": f"{USUAL_PICOFARADS_PER_M:g}",
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
    if question is COUNT_QUESTION:
        return "1"
    if question is SWITCH_QUESTION:
        return "three-way"
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
    names : tuple of str
        Of the pickups, where there are several.
    positions : dict of str
        What each of the switch's positions has on.
    """

    answers: dict[str, str]
    guessed: tuple[str, ...]
    title: str
    names: tuple[str, ...] = ()
    positions: dict[str, str] = field(default_factory=dict)


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
    keys = [question.key for question in ALL_QUESTIONS]
    unknown = next((key for key in answers if key not in keys), None)
    if unknown is not None:
        raise InputError(f"{unknown!r} is no question; one of {', '.join(sorted(keys))}")
    answers = {
        question.key: question.written(answers[question.key])
        for question in ALL_QUESTIONS
        if not is_unknown(answers.get(question.key, ""))
    }
    kind = answers.get(KIND_QUESTION.key, PICKUP_KINDS[0])
    names, positions = _switched(answers)
    filled, guessed = {}, []
    answers = {**answers, **marked_laws(answers)}
    for question in QUESTIONS:
        if question.key not in answers:
            guessed.append(question.key)
        filled[question.key] = answers.get(question.key) or typical(question, kind)
    if filled["tone.resistance"] == NONE:
        filled = {key: value for key, value in filled.items() if not key.startswith("tone.")}
    if not bends(filled["volume.taper"]):
        filled.pop("volume.midpoint")
    found = tuple(key for key in guessed if key in filled)
    several = f"{len(names)} x " if names else ""
    volume = filled["volume.resistance"]
    return Starter(
        filled, found, title or f"{several}{kind} into a {volume} volume pot", names, positions
    )


def needless(question: Question, answers: Mapping[str, str]) -> bool:
    """Whether the answers so far make a question idle."""
    if question.key.startswith("tone."):
        return question.key != "tone.resistance" and answers.get("tone.resistance") == NONE
    if question is SWITCH_QUESTION:
        return answers.get(COUNT_QUESTION.key) not in _NAMES
    if question.key == "volume.midpoint":
        law = {**marked_laws(answers), **answers}.get("volume.taper", "")
        return not (is_unknown(law) or bends(law))
    return question.key in marked_laws(answers)


def _switched(answers: Mapping[str, str]) -> tuple[tuple[str, ...], dict[str, str]]:
    """The pickups' names and the switch's positions; none where there is one pickup."""
    count = answers.get(COUNT_QUESTION.key, "1")
    if count not in _NAMES:
        if SWITCH_QUESTION.key in answers:
            raise InputError(f"{SWITCH_QUESTION.key} needs {COUNT_QUESTION.key} = 2 or 3")
        return (), {}
    usual = "three-way" if count == "2" else "five-way"
    switch = answers.get(SWITCH_QUESTION.key, usual)
    if (count, switch) not in _POSITIONS:
        raise InputError(f"switch = {switch!r} does not go with {count} pickups; {usual} does")
    return _NAMES[count], _POSITIONS[count, switch]


def bends(law: str) -> bool:
    """Whether a law, as written, has a midpoint."""
    return law_of(law) in BENT_TAPERS


def marked_laws(answers: Mapping[str, str]) -> dict[str, str]:
    """The volume pot's taper where its marking says it and no other answer does."""
    written = answers.get("volume.resistance", "")
    told = not is_unknown(answers.get("volume.taper", ""))
    law = None if is_unknown(written) or told else read_pot_marking(written)[1]
    return {} if law is None else {"volume.taper": law}
