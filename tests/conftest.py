"""Shared fixtures, and the rule that CI skips nothing."""

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Playwright, sync_playwright

from presolder.models.instrument.rig import Rig
from presolder.render.files.audio import read_recording
from presolder.render.files.rigs import built_in_rigs, find_rig
from presolder.render.files.take import Take
from takes import SAMPLES

# Each worker has a core to itself, and so have the commands that it starts.
os.environ.setdefault("PRESOLDER_JOBS", "1")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--pictures", action="store_true", help="renew the README's screenshot in docs/pictures"
    )


# The files that take longest, by what was measured.
LONGEST = (
    "test_validation.py",
    "test_install.py",
    "test_load.py",
    "test_pickup_errors.py",
    "test_pickup.py",
    "test_page.py",
    "test_live.py",
    "test_thread.py",
    "test_engine.py",
    "test_pack.py",
    "test_verify.py",
    "test_stages.py",
    "test_dirt.py",
)


# What CI leaves to `-m thorough`, since a shorter test guards the same: by the end of its name.
THOROUGH = (
    # Four cases of each stage instead of sixteen; wirings of all kinds still turn their knobs.
    "test_outside_check[spice_stages]",
    "test_outside_check[spice_harmonics]",
    "test_outside_check[spice_transient]",
    "test_committed_page_shows_these_numbers",
    # Another rig's fit at the jack, another Python, other sizes of the same page.
    "test_at_the_jack_through_the_command",
    "test_other_pythons[3.12-interpreter0]",
    "test_other_pythons[3.13-interpreter1]",
    # A wheel from an sdist is installed and tried; developers notice when this does not work.
    "test_editable",
    # The checker over a copy of all sources; over the sources it runs anyway.
    "test_types_name_every_place_that_a_new_kind_needs",
    # Types at the face; the checker runs over all sources anyway.
    "test_a_users_script_is_typed",
    # It waits for what is not there.
    "test_a_cluster_that_is_not_there[options0-no scheduler answers]",
    *(f"test_accessible_and_fits[size{i}-look{i}]" for i in (1, 2, 3, 4, 5)),
    # A whole render with compiled loops; a short loop and the loops' twins are tested anyway.
    "test_numba_and_its_damaged_cache",
    # The same as a test beside it, on other values.
    "test_files_are_the_same[command0]",
    "test_files_are_the_same[command2]",
    "test_engine_is_the_simulator[humbucker-500k-39k + (330k || 680p)]",
    "test_a_pack_works_everything_out_once[names1]",
    "test_order_of_cleaning_up[diodes]",
    "test_what_the_live_knob_leaves_out_is_said[asked0-heard with hum]",
    "test_search_finds_what_trying_everything_finds[split-humbucker-Parallel]",
    "test_closed_guitar_with_a_meter_of_one_percent[bent]",
    "test_planted_faults_in_guitars_of_ordinary_parts[1]",
    "test_engine_is_the_simulator[dark-long-cable-270p || gang(500k, audio, full)]",
    "test_engine_is_the_renderer[two-pickups-44100]",
    "test_engine_is_the_renderer[piezo-buffered-44100]",
    # The README's pictures, of which one takes ten seconds and more; the walk-through's are drawn.
    "test_pictures_are_as_they_are_drawn_now",
    # Measurements of time, for a machine that does nothing else.
    "test_made_ready_on_a_slow_machine",
    "test_first_sound",
    "test_cost",
    # Repeated draws, of what other tests do once; and a picture.
    "test_stated_errors_hold_the_truth_19_times_of_20[30]",
    "test_screenshot_for_the_readme",
)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first, then the slow tests, so that no core waits for the other at the end."""
    for item in items:
        if item.nodeid.endswith(THOROUGH):
            item.add_marker("thorough")

    def turn(item: pytest.Item) -> tuple[int, bool]:
        name = item.path.name
        return (
            LONGEST.index(name) if name in LONGEST else len(LONGEST),
            item.get_closest_marker("slow") is None,
        )

    items.sort(key=turn)


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


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    chromium = playwright.chromium.launch(
        executable_path="/usr/bin/chromium",
        args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
    )
    yield chromium
    chromium.close()
