"""Debian's browsers under Playwright."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from interface import sound_server
from playwright.sync_api import Browser, Page, Playwright

# What one browser alone can be asked for goes by a parameter in place of the fixture's own.
only_chromium = pytest.mark.parametrize("browser", ["chromium"], indirect=True)
only_firefox = pytest.mark.parametrize("browser", ["firefox"], indirect=True)
# Where a Firefox keeps what it saves.
_SAVED: dict[Browser, Path] = {}


@contextmanager
def started(
    playwright: Playwright, name: str, folder: Path, sound: Path | None = None
) -> Iterator[Browser]:
    """A browser, `chromium` or `firefox`; with a sound server it plays and hears there."""
    at_server = {"HOME": str(folder), "PATH": "/usr/bin:/bin", "PULSE_SERVER": f"unix:{sound}"}
    if name == "chromium":
        with playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=[
                "--no-sandbox",
                "--autoplay-policy=no-user-gesture-required",
                *(["--use-fake-ui-for-media-stream"] if sound else []),
            ],
            ignore_default_args=["--mute-audio"] if sound else [],
            env=dict(at_server) if sound else None,
        ) as browser:
            yield browser
        return
    with ExitStack() as around:
        # Without any, Firefox takes no time at all for what it plays.
        if sound is None:
            at_server["PULSE_SERVER"] = f"unix:{around.enter_context(sound_server(folder))}"
        # By WebDriver BiDi, which an ordinary Firefox speaks.
        browser = around.enter_context(
            playwright.firefox.launch(
                channel="moz-firefox",
                executable_path="/usr/bin/firefox-esr",
                env=dict(at_server),
                firefox_user_prefs={
                    "media.autoplay.default": 0, "media.navigator.permission.disabled": True,
                },
                downloads_path=folder / "saved",
            )
        )  # fmt: skip
        _SAVED[browser] = folder / "saved"
        yield browser


def saved(page: Page, press: str) -> Path:
    """The file that a button of this name, or at this selector, lets a visitor save."""
    button = page.locator(press) if press[0] == "#" else page.get_by_role("button", name=press)
    browser = page.context.browser
    assert browser is not None
    if browser not in _SAVED:
        with page.expect_download() as download:
            button.click()
        return Path(download.value.path())
    # Firefox does not tell of downloads: they are looked for where they go.
    folder = _SAVED[browser]
    before = set(folder.glob("*"))
    button.click()
    for _ in range(200):
        new = [one for one in set(folder.glob("*")) - before if one.suffix != ".part"]
        if new and new[0].stat().st_size:
            return new[0]
        page.wait_for_timeout(25)
    pytest.fail(f"nothing was saved by {press}")
