"""The init command: a rig file to begin with, by asking."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import ImplausibleValueError, InputError, place
from presolder.models.instrument.starter import (
    KIND_QUESTION,
    NONE,
    QUESTIONS,
    Question,
    bends,
    is_unknown,
    marked_laws,
    typical,
)
from presolder.render.commands.examples import examples
from presolder.render.commands.options import Command, json_option
from presolder.render.commands.output import new_text, only_this, say, say_json
from presolder.render.files.default_rig import own_rig_file
from presolder.render.files.rig_file import check_rig_text, copied_rig

_OPTIONS = {
    "pickup": "--pickup",
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
_ALL = (KIND_QUESTION, *QUESTIONS)


def _argument(question: Question) -> str:
    """What the command calls the answer."""
    return f"answer_{question.key.replace('.', '_')}"


def _answer_options(function: Command) -> Command:
    """An option for each question."""
    for question in reversed(_ALL):
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
@click.option(
    "--out", type=click.Path(path_type=Path), default="my-guitar.toml", show_default=True,
    help="Write to this file; - is standard output.",
)  # fmt: skip
@click.option(
    "--own", is_flag=True, help="Write your own rig instead, which all commands then use."
)
@click.option("--force", is_flag=True, help="Replace a file that exists.")
@click.option("--as-given", is_flag=True, help="Take values that no such part has.")
@json_option
def init(
    title: str,
    source: str | None,
    all_typical: bool,
    out: Path,
    own: bool,
    force: bool,
    as_given: bool,
    as_json: bool,
    **answers: str | None,
) -> None:
    """Write a rig file: asks for what it needs, and explains each question.

    Answer '?' to what you don't know: the typical value is filled in, and
    marked.
    """
    given = {
        question.key: answer
        for question in _ALL
        if (answer := answers[_argument(question)]) is not None
    }
    for question in _ALL:
        if question.key in given:
            with place(_OPTIONS[question.key]):
                _checked(question, given[question.key], as_given)
    if source is None and not all_typical:
        given = _asked(given, as_given)
    alone = only_this(as_json, force=force, out=None if own else out)
    report = ps.starter(given, title)
    text = report.toml if source is None else _copied(source, given, title)
    target = own_rig_file() if own else out
    if own:
        target.parent.mkdir(parents=True, exist_ok=True)
    check_rig_text(target, text, as_given=as_given)
    with new_text(target, force=force) as file:
        file.write(text)
    if alone:
        return
    if as_json:
        known = report.plain() if source is None else {"title": title or source, "toml": text}
        say_json({"file": str(target), "from": source, **known})
        return
    used = "All commands use it where no other rig is named."
    click.echo(f"{target}: written. " + (used if own else f"Begin: presolder need --rig {target}"))
    if source is None:
        say(report, False)


def _copied(source: str, given: dict[str, str], title: str) -> str:
    """Another rig's file with what was given changed."""
    known = {key: text for key, text in given.items() if not is_unknown(text)}
    known |= marked_laws(known)
    if KIND_QUESTION.key in known:
        raise InputError(f"{_OPTIONS[KIND_QUESTION.key]} says what is typical; --like does too")
    changes: dict[str, object] = {
        question.key: float(known[question.key]) if question.is_number else known[question.key]
        for question in QUESTIONS
        if question.key in known
    }
    if known.get("tone.resistance") == NONE:
        changes = {k: v for k, v in changes.items() if not k.startswith("tone.")} | {"tone": None}
    return copied_rig(source, changes, title)


def _asked(given: dict[str, str], as_given: bool) -> dict[str, str]:
    """The answers, each asked for that was not given by an option."""
    answers = dict(given)
    for question in _ALL:
        if question.key in answers or _needless(question, answers):
            continue
        answers[question.key] = _ask(question, answers, as_given)
    return answers


def _needless(question: Question, answers: dict[str, str]) -> bool:
    if question.key.startswith("tone."):
        return answers.get("tone.resistance") == NONE
    if question.key == "volume.midpoint":
        law = {**marked_laws(answers), **answers}.get("volume.taper", "")
        return not (is_unknown(law) or bends(law))
    return question.key in marked_laws(answers)


def _ask(question: Question, answers: dict[str, str], as_given: bool) -> str:
    """Ask until the answer can be used."""
    click.echo(f"\n{question.explains}", err=True)
    words = f" ({', '.join(question.words)})" if len(question.words) > 1 else ""
    usual = typical(question, answers.get(KIND_QUESTION.key, ""))
    while True:
        answer: str = click.prompt(
            f"{question.asks}{words}, ? for {usual}", default="?", show_default=False, err=True
        ).strip()
        if is_unknown(answer):
            return "?"
        try:
            odd = _checked(question, answer, as_given)
        except InputError as error:
            click.echo(f"  {error}", err=True)
            continue
        if odd:
            click.echo(f"  {odd}", err=True)
        return answer


def _checked(question: Question, answer: str, as_given: bool) -> str:
    """Refuse an answer that cannot be used; what is odd about it in words."""
    if is_unknown(answer):
        return ""
    try:
        return question.check(answer)
    except ImplausibleValueError as error:
        if as_given:
            return ""
        raise InputError(f"{error} (--as-given insists)") from None
