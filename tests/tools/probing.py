"""A customer's page with a window into it, for tests: what an ear cannot tell a program."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

_MARK = "/* probe */"
_PROBE = """window.audition = {
  state, live, parts, positionS, dialNow, blind, own, recordings, heard, makeLive, sources,
  dialHeardNow: live.heardDial, clockS: () => (context ? context.currentTime : 0),
  startedAtS: recordings.startedAtS, lead, answers, sounds,
  suspend: () => context.suspend(),
};
// The bench as it is once the first half minute is over, unless that is what is looked at.
if (location.hash !== "#led") { lead.skip(); live.turn(10); showPosition(); parts.drawDial(); }"""


def probed(page: Path) -> Path:
    """A copy of the page, beside it, that tests can look into."""
    text = page.read_text("utf-8")
    assert text.count(_MARK) == 1 and "window.audition" not in text
    copy = page.with_name(f"probed-{page.name}")
    copy.write_text(text.replace(_MARK, _PROBE), "utf-8")
    return copy


@contextmanager
def opened(browser: Browser, file: Path, *, led: bool = False, **options: Any) -> Iterator[Page]:
    """A page from disk in which no error may come up."""
    page = browser.new_page(**options)
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(file.as_uri() + ("#led" if led else ""))
    yield page
    assert errors == []
    page.close()


def until(page: Page, expression: str) -> None:
    """Poll: the page's policy forbids the evaluation that Playwright's own waiting uses."""
    for _ in range(600):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(25)
    pytest.fail(f"{expression} did not come true")
