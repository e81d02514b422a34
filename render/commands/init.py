"""The init command: a rig file to begin with, by asking."""

from collections.abc import Callable
from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import ImplausibleValueError, InputError, place
from presolder.models.instrument.starter import (
    ALL_QUESTIONS,
    COUNT_QUESTION,
    KIND_QUESTION,
    NONE,
    QUESTIONS,
    SWITCH_QUESTION,
    Question,
    is_unknown,
    marked_laws,
)
from presolder.render.commands.asking import ask_all, forget_answers, resumed
from presolder.render.commands.examples import examples
from presolder.render.commands.options import Command, json_option
from presolder.render.commands.output import new_text, only_this, say_blocks, say_json
from presolder.render.files.default_rig import own_rig_file
from presolder.render.files.rig_file import copied_rig, read_rig_text

_OPTIONS = {
    "pickup": "--pickup",
    "pickups": "--pickups",
    "switch": "--switch",
    "pickup.resistance": "--resistance",
    "pickup.inductance": "--inductance",
    "pickup.capacitance": "--capacitance",
    "pickup.eddy": "--eddy",
    "volume.resistance": "--volume",
    "volume.taper": "--taper",
    "volume.midpoint": "--midpoint",
    "tone.resistance": "--tone",
    "tone.capacitance": "--tone-capacitor",
    "tone.wiring": "--tone-wiring",
    "cable.length": "--cable-length",
    "cable.picofarads_per_m": "--picofarads-per-m",
    "input.resistance": "--input",
    "player.plays": "--plays",
}


def _argument(question: Question) -> str:
    """What the command calls the answer."""
    return f"answer_{question.key.replace('.', '_')}"


def _answer_options(function: Command) -> Command:
    """An option for each question."""
    for question in reversed(ALL_QUESTIONS):
        function = click.option(
            _OPTIONS[question.key], _argument(question),
            metavar="|".join(question.words) if len(question.words) > 1 else "VALUE",
            help=f"{question.asks}. {question.explains}",
        )(function)  # fmt: skip
    return function


@click.command(
    epilog=examples(
        "presolder init",
        "presolder init --typical --pickup single-coil --volume A250K --out my-guitar.toml",
        "presolder init --like humbucker-500k --cable-length '20 ft' --own",
    )
)
@_answer_options
@click.option("--title", default="", help="The title that reports and files show.")
@click.option(
    "--like", "source", metavar="RIG", help="Begin with this rig's values, and ask nothing."
)
@click.option(
    "--typical", "all_typical", is_flag=True,
    help="Ask nothing: what is not given is typical.",
)  # fmt: skip
@click.option("--resume", is_flag=True, help="Go on with the answers of a run that was left.")
@click.option(
    "--out", type=click.Path(path_type=Path), default="my-guitar.toml", show_default=True,
    help="Write to this file; - is standard output.",
)  # fmt: skip
@click.option(
    "--own", is_flag=True, help="Write your own rig instead, which all commands then use."
)
@click.option("--force", is_flag=True, help="Replace a file that exists.")
@click.option("--as-given", is_flag=True, help="Accept unusual values without a warning.")
@json_option
def init(
    title: str,
    source: str | None,
    all_typical: bool,
    resume: bool,
    out: Path,
    own: bool,
    force: bool,
    as_given: bool,
    as_json: bool,
    **answers: str | None,
) -> None:
    """Write a rig file: asks for what it needs, and explains each question.

    Answer '?' to what you don't know: the typical value is filled in, and
    marked. '<' goes back to the last question. If you stop, the answers are kept.
    """
    check = checked(as_given)
    given = resumed() if resume else {}
    for question in ALL_QUESTIONS:
        answer = answers[_argument(question)]
        if answer is not None:
            with place(_OPTIONS[question.key]):
                given[question.key] = check(question, answer)[0]
    target = own_rig_file() if own else out
    alone = only_this(as_json, force=force, out=target)
    if source is None and not all_typical:
        given = ask_all(ALL_QUESTIONS, given, check, "presolder init")
    report = ps.starter(given, title)
    text = report.toml if source is None else _copied(source, given, title)
    if own:
        target.parent.mkdir(parents=True, exist_ok=True)
    read_rig_text(target, text, as_given=as_given)
    with new_text(target, force=force) as file:
        file.write(text)
    forget_answers()
    if alone:
        return
    if as_json:
        known = report.plain() if source is None else {"title": title or source, "toml": text}
        say_json({"file": str(target), "from": source, **known})
        return
    used = "All commands use it where no other rig is named."
    begin = used if own else f"Begin: presolder need --rig {target}"
    say_blocks((f"{target}: written. {begin}", *(report.blocks() if source is None else ())))


def _copied(source: str, given: dict[str, str], title: str) -> str:
    """Another rig's file with what was given changed."""
    known = {key: text for key, text in given.items() if not is_unknown(text)}
    known |= marked_laws(known)
    for question in (KIND_QUESTION, COUNT_QUESTION, SWITCH_QUESTION):
        if question.key in known:
            raise InputError(f"{_OPTIONS[question.key]} says what is typical; --like does too")
    changes: dict[str, object] = {
        question.key: float(known[question.key])
        if question.is_number or known[question.key] == "inf"
        else known[question.key]
        for question in QUESTIONS
        if question.key in known
    }
    if known.get("tone.resistance") == NONE:
        changes = {k: v for k, v in changes.items() if not k.startswith("tone.")} | {"tone": None}
    return copied_rig(source, changes, title)


def checked(as_given: bool) -> Callable[[Question, str], tuple[str, str]]:
    """What reads an answer: as the rig file has it, and what is odd about it in words."""

    def check(question: Question, answer: str) -> tuple[str, str]:
        if is_unknown(answer):
            return "?", ""
        try:
            return question.read(answer)
        except ImplausibleValueError as error:
            if as_given:
                return answer, ""
            raise InputError(f"{error} (--as-given insists)") from None

    return check
