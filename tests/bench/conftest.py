"""A bench, and its page."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from benches import Bench, at_work
from playwright.sync_api import Browser, Page
from visiting import visited


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with at_work(tmp_path / "guitars", entered=False) as found:
        yield found


@pytest.fixture
def page(browser: Browser, bench: Bench) -> Iterator[Page]:
    with visited(browser, bench) as page:
        yield page
