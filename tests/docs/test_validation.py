"""Every outside check within its limit, and the committed page up to date with them."""

from collections.abc import Callable

import pytest

from check_row import Row
from checks import CHECKS, rows_of
from checks_stages import LIMIT_DB, cases_of, compared
from presolder.models.instrument.circuits import STAGE_KINDS, StageKind
from validation_page import PAGE, committed_numbers, same_number

pytestmark = pytest.mark.slow


# Of these the test below has four cases of each stage; wirings of all kinds still turn their knobs,
# and takes null and loudness is another's in tests of their own.
_LONG = (
    "nulls",
    "loudness",
    "takes_by_library",
    "spice_wirings_moving",
    "spice_stages",
    "spice_pedals",
    "spice_harmonics",
    "spice_transient",
)


@pytest.mark.parametrize(
    "check",
    [
        pytest.param(check, marks=[pytest.mark.thorough] if check.__name__ in _LONG else [])
        for check in CHECKS
    ],
    ids=lambda check: check.__name__,
)
def test_outside_check(check: Callable[[], list[Row]]) -> None:
    for row in rows_of(check):
        assert row.worst <= row.limit, row


@pytest.mark.parametrize("kind", STAGE_KINDS)
def test_a_few_cases_of_each_stage(kind: StageKind) -> None:
    """Of the sixteen that the page has, one of each strength and one with a weak battery."""
    for case in cases_of(kind)[:4]:
        assert compared(case).difference_db <= LIMIT_DB


@pytest.mark.thorough
def test_committed_page_shows_these_numbers() -> None:
    rows = [row for check in CHECKS for row in rows_of(check)]
    committed = committed_numbers(PAGE.read_text(encoding="utf-8"))
    assert len(committed) == len(rows), "run python docs/programs/make_validation.py"
    for row, (cases, worst) in zip(rows, committed, strict=True):
        assert cases == row.cases, row
        assert same_number(row, worst), (row, worst, "run python docs/programs/make_validation.py")
