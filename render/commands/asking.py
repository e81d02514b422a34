"""Asking on a terminal: one question after the other, back to the last, nothing lost at any end."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

import click

from presolder.models.errors import InputError
from presolder.models.instrument.starter import (
    KIND_QUESTION,
    Question,
    is_unknown,
    needless,
    typical,
)
from presolder.render.commands.output import new_text, say_blocks

Answers = dict[str, str]
_BACK = ("<", "back")


def kept_answers() -> Path:
    """Where answers lie until all are given."""
    return Path(click.get_app_dir("presolder")) / "answers.json"


def resumed() -> Answers:
    """The answers of a conversation that was left.

    Raises
    ------
    InputError
        If none was.
    """
    try:
        told = json.loads(kept_answers().read_text("utf-8"))
        return {str(key): str(answer) for key, answer in told.items()}
    except FileNotFoundError:
        raise InputError("--resume: no answers are kept; begin without it") from None
    except (OSError, ValueError, AttributeError):
        raise InputError(f"--resume: {kept_answers()} holds no answers; begin without it") from None


def forget_answers() -> None:
    """Once they have been used."""
    with suppress(OSError):
        kept_answers().unlink()


def ask_all(
    questions: Sequence[Question],
    given: Mapping[str, str],
    check: Callable[[Question, str], tuple[str, str]],
    resume: str,
) -> Answers:
    """The answers, each asked for that is not given.

    Parameters
    ----------
    questions : sequence of Question
    given : mapping of str
    check : callable
        Gives an answer as it is kept, and what is odd about it; raises `InputError`.
    resume : str
        The command that goes on where the answers end, for whoever stops.
    """
    answers, asked = dict(given), list[str]()
    while True:
        open_ones = list(_still_open(questions, answers))
        if not open_ones:
            return answers
        question, number = open_ones[0], len(asked) + 1
        try:
            answer = _ask(question, answers, check, f"{number} of {len(asked) + len(open_ones)}")
        except click.Abort:
            kept = f"; '{resume} --resume' goes on" if asked else ""
            raise click.Abort(f"stopped at question {number}{kept}") from None
        if answer is None:
            if asked:
                answers.pop(asked.pop())
            continue
        answers[question.key] = answer
        asked.append(question.key)
        _keep(answers)


def _still_open(questions: Sequence[Question], answers: Answers) -> Iterator[Question]:
    return (one for one in questions if one.key not in answers and not needless(one, answers))


def _keep(answers: Answers) -> None:
    """For --resume; where nothing can be written, the conversation goes on without."""
    file = kept_answers()
    with suppress(OSError, InputError):
        file.parent.mkdir(parents=True, exist_ok=True)
        with new_text(file, force=True) as text:
            json.dump(answers, text)


def _ask(
    question: Question,
    answers: Answers,
    check: Callable[[Question, str], tuple[str, str]],
    which: str,
) -> str | None:
    """Ask until the answer can be used; None to go back to the last question."""
    usual = typical(question, answers.get(KIND_QUESTION.key, ""))
    choices = [
        f"  {at} {word}" + (f": {question.meanings[at - 1]}" if question.meanings else "")
        for at, word in enumerate(question.words, start=1)
        if word != str(at)
    ]
    say_blocks(("", f"{which}  {question.asks}", f"  {question.explains}", *choices), err=True)
    doubted = ""
    while True:
        answer: str = click.prompt(
            f"  ? for {usual}, < for the last question", default="?", show_default=False, err=True
        ).strip()
        if answer.lower() in _BACK:
            return None
        if is_unknown(answer):
            return "?"
        try:
            read, odd = check(question, answer)
        except InputError as error:
            say_blocks((f"  {error}",), err=True)
            continue
        if odd and answer != doubted:
            doubted = answer
            say_blocks((f"  {odd} Say {answer} again to keep it.",), err=True)
            continue
        return read
