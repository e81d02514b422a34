"""Thousands of hostile inputs for every reader and the command line, and all that were ever found.

``python tests/fuzz.py --inputs 1000000`` takes a night over it.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from fuzzing import FINDS, TARGETS, BrokenContractError, reading
from presolder.models.errors import InputError

INPUTS = 800
SHARES = sum(target.share for target in TARGETS.values())


@pytest.mark.slow
@pytest.mark.parametrize("name", list(TARGETS))
def test_hostile_inputs_end_in_success_or_one_line(name: str) -> None:
    target = TARGETS[name]

    @settings(
        max_examples=-(-INPUTS * target.share // SHARES), deadline=None, database=None,
        derandomize=True, suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(target.inputs)
    def one(content: Any) -> None:
        target.enter(content)

    one()


@pytest.mark.parametrize(
    "find", sorted(FINDS.rglob("*/*")), ids=lambda path: "/".join(path.parts[-2:])
)
def test_what_was_found_once_stays_mended(find: Path) -> None:
    data, name = find.read_bytes(), find.parent.name
    match name:
        case "command":
            TARGETS[name].enter(json.loads(data))
        case "expression":
            TARGETS[name].enter(data.decode("utf-8", "surrogatepass"))
        case _:
            TARGETS[name].enter(data)


@pytest.mark.parametrize("error", [ZeroDivisionError("x"), InputError(" "), RuntimeWarning("x")])
def test_the_contract_bites(error: Exception) -> None:
    def breaks(_: Path) -> None:
        raise error

    with pytest.raises((type(error), BrokenContractError)):
        reading(breaks, ".toml")(b"")
