"""A rig file to begin with, commented."""

import json
from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.starter import QUESTIONS, Question, Starter
from presolder.render.report.table import Block, lines_of, shows_itself

# What the file says of a value that nobody gave.
NOT_KNOWN = "typical of its kind, not known"


@shows_itself
@dataclass(frozen=True)
class StarterReport:
    """A rig file's text, and what in it is only typical.

    Attributes
    ----------
    starter : Starter
    """

    starter: Starter

    @property
    def toml(self) -> str:
        """The rig file."""
        lines = [
            "# A rig for presolder. Every key is described in docs/rig-format.md.",
            f"title = {_quoted(self.starter.title)}",
        ]
        section, names = "", self.starter.names
        for question in QUESTIONS:
            if question.key not in self.starter.answers:
                continue
            here, _, key = question.key.partition(".")
            if here != section:
                named = f"pickups.{names[0]}" if names and here == "pickup" else here
                lines += [*self._others(section), "", f"[{named}]"]
                section = here
            lines += [f"# {question.asks}. {question.explains}", self._line(question, key)]
        return "\n".join(lines) + "\n"

    def _others(self, section: str) -> list[str]:
        """After the first of several pickups: the others, and the switch."""
        if section != "pickup" or not self.starter.names:
            return []
        lines = []
        for name in self.starter.names[1:]:
            lines += ["", f"[pickups.{name}]", "# As the first; change what differs."]
            lines += [
                self._line(question, question.key.partition(".")[2])
                for question in QUESTIONS
                if question.key.startswith("pickup.")
            ]
        lines += ["", "[switch]"]
        return lines + [f'"{at}" = "{on}"' for at, on in self.starter.positions.items()]

    def _line(self, question: Question, key: str) -> str:
        answer = self.starter.answers[question.key]
        value = answer if question.is_number or answer == "inf" else _quoted(answer)
        if question.key not in self.starter.guessed:
            return f"{key} = {value}"
        hint = f"; {question.measure} measures it" if question.measure else ""
        return f"{key} = {value}  # {NOT_KNOWN}{hint}"

    def blocks(self) -> tuple[Block, ...]:
        """What is only typical, and what would measure it."""
        guessed = [q for q in QUESTIONS if q.key in self.starter.guessed]
        if not guessed:
            return ("Every value in it was given.",)
        rows = [
            f"  {q.key.replace('.', ' ')} = {self.starter.answers[q.key]}"
            + (f"   ({q.measure} measures it)" if q.measure else "")
            for q in guessed
        ]
        return ("Typical of its kind, not known, and marked so:", *rows)

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "title": self.starter.title,
            "answers": self.starter.answers,
            "not_known": list(self.starter.guessed),
            "toml": self.toml,
        }


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are TOML's."""
    return json.dumps(text, ensure_ascii=False)
