"""What somebody does on the bench's page."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from benches import Bench
from playwright.sync_api import Browser, Locator, Page

SOON = 30_000


@contextmanager
def visited(browser: Browser, bench: Bench) -> Iterator[Page]:
    """The bench's page, as its address opens it; what goes wrong in it is a failure."""
    with browser.new_context(viewport={"width": 1366, "height": 768}) as context:
        page = context.new_page()
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(bench.address)
        page.wait_for_url(f"{bench.base}/")
        yield page
        assert faults == []


def begun(page: Page, title: str = "The blue one") -> None:
    page.fill("#new-title", title)
    page.select_option("#from", "kind:single-coil")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_selector(".plot")


def room(page: Page, name: str) -> None:
    page.locator(f"[data-room={name}]").click()


def pressed(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).first.click()


def answered(page: Page, key: str, value: str) -> None:
    typed(page.locator(f"#field-{key.replace('.', '-')}"), value)


def typed(field: Locator, value: str) -> None:
    """By keys, which every browser takes for a change."""
    field.press("ControlOrMeta+a")
    field.press_sequentially(value)
    field.press("Tab")


def guitar(tmp_path: Path) -> Path:
    """The folder of what `begun` begins."""
    return tmp_path / "guitars" / "the_blue_one"
