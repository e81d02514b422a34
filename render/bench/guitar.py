"""The guitar as a form: what is known of it, question by question, over the text of its file."""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import require_turned_up
from presolder.models.instrument.dirt import ANY_KINDS
from presolder.models.instrument.instrument import Situation, find_situation
from presolder.models.instrument.starter import NONE, QUESTIONS, Question, is_unknown, typical
from presolder.render.files.rig_file import changed_text
from presolder.render.report.starter import NOT_KNOWN

# Of the response: a point each twelfth of an octave, and the dials that are drawn.
SHOWN_HZ = tuple(80.0 * 2 ** (i / 12) for i in range(84))
SHOWN_DIALS = (10.0, 8.0, 6.0, 4.0, 2.0)
_BY_KEY = {question.key: question for question in QUESTIONS}
# Asked here besides, since there is room: the terminal has an option for it.
_DIRT = Question(
    "dirt.kind", "Dirt that it feeds",
    "A clipper or a fuzz after the guitar: what comes out of it is then judged, and heard.",
    "word", words=(NONE, *ANY_KINDS),
)  # fmt: skip
_LEFT_AT = Question(
    "player.dials", "Where the knob is left",
    "Numbers on the knob, such as 8, 7, 6.5; nothing for what is usual when it is used so.",
    "word",
)  # fmt: skip


@dataclass(frozen=True)
class Field:
    """One thing that is known of the guitar.

    Attributes
    ----------
    key : str
        Its tables and key in the rig file.
    question : Question
    whose : str
        Of several pickups, which one's.
    value : str
        As the file has it; empty if it has none.
    known : bool
        Whether somebody gave it, or it is only typical.
    """

    key: str
    question: Question
    whose: str
    value: str
    known: bool

    def plain(self) -> dict[str, Any]:
        """For a page."""
        question = self.question
        meanings = question.meanings or ("",) * len(question.words)
        words = [list(pair) for pair in zip(question.words, meanings, strict=True)]
        only_words = bool(question.words) and question.reads == "word"
        if only_words and self.value and self.value not in question.words:
            # Such as a dirt of one's own, by its file.
            words.append([self.value, ""])
        return {
            "key": self.key,
            "asks": question.asks,
            "explains": question.explains,
            "whose": self.whose,
            "value": self.value,
            "known": self.known,
            "words": words,
            "only_words": only_words,
            "measure": question.measure,
        }


def fields_of(rig: str) -> list[Field]:
    """What the form shows of a rig file's text, in the order of the questions."""
    table, text = tomllib.loads(rig), rig.splitlines()
    return [
        Field(key, question, whose, value, not _is_marked(text, key))
        for key, question, whose in _asked(table)
        for value in [_value(table, key)]
    ]


def _asked(table: dict[str, Any]) -> Iterator[tuple[str, Question, str]]:
    coils = {f"pickups.{name}": (name, own) for name, own in table.get("pickups", {}).items()}
    coils = coils or {"pickup": ("", table.get("pickup", {}))}
    for question in (*QUESTIONS, _LEFT_AT, _DIRT):
        section, _, key = question.key.partition(".")
        if section == "pickup":
            # Of a piezo nothing of a coil is asked.
            for place_, (name, own) in coils.items():
                if own.get("kind") != "piezo":
                    yield f"{place_}.{key}", question, name
        elif section != "volume" or "volumes" not in table:
            yield question.key, question, ""


def _value(table: dict[str, Any], key: str) -> str:
    found: Any = table
    for part in key.split("."):
        found = found.get(part, {}) if isinstance(found, dict) else {}
    if found == {} and key == "cable.length" and "length_m" in table.get("cable", {}):
        return f"{table['cable']['length_m']:g} m"
    if key == _LEFT_AT.key and isinstance(found, list):
        return ", ".join(f"{dial:g}" for dial in found)
    if isinstance(found, dict | list | bool):
        return NONE if key == _DIRT.key else ""
    return f"{found:g}" if isinstance(found, float) else str(found)


def _is_marked(text: list[str], key: str) -> bool:
    """Whether the file says of a value that it is only typical."""
    *sections, name = key.split(".")
    head, inside = f"[{'.'.join(sections)}]", False
    for line in text:
        if line.startswith("["):
            inside = line.strip() == head
        elif inside and line.partition("=")[0].strip() == name:
            return NOT_KNOWN in line
    return False


def answered(rig: str, key: str, answer: str) -> tuple[str, str, str]:
    """A rig file's text with one question answered.

    Parameters
    ----------
    rig : str
    key : str
        Of a field.
    answer : str
        As it was typed: everyday units, a decimal comma, or ``?`` for not known.

    Returns
    -------
    text, did, odd : str
        The new text; what was changed, in words; and what is odd about it, if anything.

    Raises
    ------
    InputError
        Naming what would be accepted.
    """
    # Here, as everywhere, since it is loaded for changes only.
    import tomlkit  # noqa: PLC0415

    field = next((one for one in fields_of(rig) if one.key == key), None)
    if field is None:
        raise InputError(f"key = {key!r}: nothing of this guitar is asked for under that name")
    question, whose = field.question, f" of {field.whose}" if field.whose else ""
    if question is _LEFT_AT:
        dials = None
        if answer.strip():
            dials = _dials(question, answer)
        said = "as usual" if dials is None else answer.strip()
        return changed_text(rig, {key: dials}), f"{question.asks}: {said}", ""
    not_known = is_unknown(answer) and question is not _DIRT
    if not_known:
        answer = typical(question, "")
        written, odd = question.written(answer), ""
    else:
        with place(question.asks):
            written, odd = question.read(answer)
    did = f"{question.asks}{whose}: {written}"
    if key == "tone.resistance" and written == NONE:
        return changed_text(rig, {"tone": None}), did, odd
    if question is _DIRT:
        # With all that was set of the other one.
        plain = changed_text(rig, {"dirt": None})
        return plain if written == NONE else changed_text(plain, {key: written}), did, odd
    value: object = written
    if question.is_number or written == "inf":
        value = float(written)
    if not_known:
        value = tomlkit.item(value).comment(NOT_KNOWN)
    changes = {key: value}
    if key.startswith("tone.") and not tomllib.loads(rig).get("tone"):
        # A tone control that was not there before needs both.
        changes = {
            each: question_.written(typical(question_, ""))
            for each in ("tone.resistance", "tone.capacitance")
            for question_ in [_BY_KEY[each]]
        } | changes
    return changed_text(rig, changes), did, odd


def _dials(question: Question, answer: str) -> list[float]:
    try:
        dials = [float(word) for word in answer.split(",")]
    except ValueError:
        raise InputError(f"{question.asks}: {answer!r} must be numbers between commas") from None
    for dial in dials:
        require_turned_up(question.asks, dial)
    return dials


def shown(situations: tuple[Situation, ...], designs: list[str], wanted: str) -> dict[str, Any]:
    """What is shown of a guitar at once: its schematic, its response, and what ears say of it.

    Parameters
    ----------
    situations : tuple of Situation
    designs : list of str
        The bare pot, and the chosen one if there is one.
    wanted : str
        Name of a situation; empty for the first.

    Returns
    -------
    dict
    """
    # Here, so that the list of jobs does not wait for the drawing library.
    import presolder as ps  # noqa: PLC0415
    from presolder._asked import AS_USUAL, asked_design, asked_ears  # noqa: PLC0415
    from presolder.models.judging.merit import merits  # noqa: PLC0415
    from presolder.models.judging.recommendation import first_look  # noqa: PLC0415
    from presolder.render.plots.guitar import guitar_svg  # noqa: PLC0415
    from presolder.render.report.advice import off  # noqa: PLC0415
    from presolder.render.report.judged import dials_in_words, sounds_over_dials  # noqa: PLC0415

    situation = find_situation(situations, wanted) if wanted else situations[0]
    rig = situation.rig
    (ear,) = asked_ears((situation,), AS_USUAL)
    figures = merits(ear, [asked_design(one, rig).network for one in designs])
    heard = "" if rig.dirt is None else ", by what reaches the dirt"
    sounds = [
        f"{name}: {sounds_over_dials(one)}, {off(one)}"
        for name, one in zip(["the plain pot", *designs[1:]], figures, strict=True)
    ]
    look = first_look(ear)
    nearest = f"{look.design.name} is {look.nearer_db:.1f} dB nearer than the plain pot"
    if look.design.network is None:
        nearest = "none of the usual designs is audibly nearer than the plain pot"
    return {
        "at_first": f"At a first look, on this very guitar{heard}, {nearest}; listening on …",
        "heard": f"At {dials_in_words(ear.conditions.dials)}, beside this guitar at 10{heard}:",
        "sounds": sounds,
        "svg": guitar_svg(rig),
        "situations": [one.name for one in situations] if len(situations) > 1 else [],
        "situation": situation.name,
        "curves": ps.curves(rig, designs, SHOWN_DIALS, hz=SHOWN_HZ).plain(),
    }
