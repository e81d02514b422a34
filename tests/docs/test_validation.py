"""Every outside check within its limit, and the committed page up to date with them."""

from collections.abc import Callable

import pytest

from check_row import Row
from checks import CHECKS, rows_of
from validation_page import PAGE, committed_numbers, same_number

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_outside_check(check: Callable[[], list[Row]]) -> None:
    for row in rows_of(check):
        assert row.worst <= row.limit, row


def test_committed_page_shows_these_numbers() -> None:
    rows = [row for check in CHECKS for row in rows_of(check)]
    committed = committed_numbers(PAGE.read_text(encoding="utf-8"))
    assert len(committed) == len(rows), "run python docs/make_validation.py"
    for row, (cases, worst) in zip(rows, committed, strict=True):
        assert cases == row.cases, row
        assert same_number(row, worst), (row, worst, "run python docs/make_validation.py")
