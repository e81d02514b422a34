"""Shared fixtures, and the rule that CI skips nothing."""

import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Playwright, sync_playwright

from browsers import started
from presolder.models.instrument.rig import Rig
from presolder.render.files.audio import read_recording
from presolder.render.files.rig_file import built_in_rigs, find_rig
from presolder.render.files.take import Take
from takes import SAMPLES

# Each worker has a core to itself, and so have the commands that it starts.
os.environ.setdefault("PRESOLDER_JOBS", "1")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--pictures", action="store_true", help="renew the README's screenshot in docs/pictures"
    )


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first, so that no core waits for the other at the end.

    A slow test counts for two seconds, or for what its mark says.
    """
    for item in items:
        if item.get_closest_marker("thorough"):
            item.add_marker("slow")
    seconds: Counter[Path] = Counter()
    for item in items:
        if mark := item.get_closest_marker("slow"):
            seconds[item.path] += mark.kwargs.get("seconds", 2)
    items.sort(key=lambda item: -seconds[item.path])


@pytest.fixture(scope="session", autouse=True)
def no_rig_of_ones_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Whoever runs the tests may have a default rig; they must not see it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))
        patch.delenv("PRESOLDER_RIG", raising=False)
        yield


@pytest.fixture(scope="session")
def humbucker() -> Rig:
    return find_rig("humbucker-500k")


@pytest.fixture(scope="session")
def rigs() -> dict[str, Rig]:
    return {name: find_rig(name) for name in built_in_rigs()}


@pytest.fixture(scope="session")
def takes() -> dict[str, Take]:
    """Two recordings: dense and sparse."""
    return {name: read_recording(SAMPLES / f"{name}.flac") for name in ("chords", "phrase")}


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if os.environ.get("CI") and terminalreporter.stats.get("skipped"):
        terminalreporter.write_line("CI: a skipped test counts as a failure", red=True)


def pytest_sessionfinish(session: pytest.Session) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(
    scope="session", params=["chromium", pytest.param("firefox", marks=pytest.mark.thorough)]
)
def browser(
    request: pytest.FixtureRequest, playwright: Playwright, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Browser]:
    """Debian's own; `only_chromium` is for what the other cannot be asked."""
    with started(playwright, request.param, tmp_path_factory.mktemp("browser")) as browser:
        yield browser
