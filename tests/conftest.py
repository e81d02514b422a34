"""Shared fixtures, and the rule that CI skips nothing."""

import os

import pytest

from presolder.models.instrument.rig import Rig
from presolder.render.files.audio import Recording, read_recording
from presolder.render.files.rigs import built_in_rigs, find_rig
from takes import SAMPLES


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--pictures", action="store_true", help="renew the README's screenshot in docs/pictures"
    )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Slow tests first, so that no core waits for the other at the end."""
    items.sort(key=lambda item: item.get_closest_marker("slow") is None)


@pytest.fixture(scope="session")
def humbucker() -> Rig:
    return find_rig("humbucker-500k")


@pytest.fixture(scope="session")
def rigs() -> dict[str, Rig]:
    return {name: find_rig(name) for name in built_in_rigs()}


@pytest.fixture(scope="session")
def takes() -> dict[str, Recording]:
    """The two real recordings."""
    return {name: read_recording(SAMPLES / f"{name}.flac") for name in ("fifths", "harmonics")}


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if os.environ.get("CI") and terminalreporter.stats.get("skipped"):
        terminalreporter.write_line("CI: a skipped test counts as a failure", red=True)


def pytest_sessionfinish(session: pytest.Session) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
