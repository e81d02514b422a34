"""Debian's browsers under Playwright, and a sound server for machines that have none."""

import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright

# What one browser alone can be asked for goes by a parameter in place of the fixture's own.
only_chromium = pytest.mark.parametrize("browser", ["chromium"], indirect=True)
only_firefox = pytest.mark.parametrize("browser", ["firefox"], indirect=True)
# Where a Firefox keeps what it saves.
_SAVED: dict[Browser, Path] = {}


@contextmanager
def silent_sink(folder: Path) -> Iterator[Path]:
    """A sound server whose only output is silence; gives its socket."""
    place = folder / "sound"
    process = subprocess.Popen(
        [
            "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--load=module-null-sink",
            f"--load=module-native-protocol-unix auth-anonymous=1 socket={place}",
        ],
        env={"HOME": str(folder), "XDG_RUNTIME_DIR": str(folder), "PATH": "/usr/bin:/bin"},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        for _ in range(100):
            if place.exists():
                break
            time.sleep(0.05)
        yield place
    finally:
        process.kill()
        process.wait()


@contextmanager
def started(playwright: Playwright, name: str, folder: Path) -> Iterator[Browser]:
    """A browser, `chromium` or `firefox`."""
    if name == "chromium":
        with playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
        ) as browser:
            yield browser
        return
    # By WebDriver BiDi, which an ordinary Firefox speaks.
    with (
        silent_sink(folder) as sound,
        playwright.firefox.launch(
            channel="moz-firefox",
            executable_path="/usr/bin/firefox-esr",
            env={"HOME": str(folder), "PATH": "/usr/bin:/bin", "PULSE_SERVER": f"unix:{sound}"},
            firefox_user_prefs={"media.autoplay.default": 0},
            downloads_path=folder / "saved",
        ) as browser,
    ):
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
