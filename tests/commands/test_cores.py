"""Work on all cores gives what one core gives, to the last bit."""

import threading
from pathlib import Path

import numpy as np
import pytest

from presolder.models.cores import JOBS, cores, crew, in_background, side_by_side, still_wanted
from running import presolder
from takes import SAMPLES

TAKE = str(SAMPLES / "phrase.flac")


@pytest.fixture(autouse=True)
def three(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(JOBS, "3")


def test_how_many(monkeypatch: pytest.MonkeyPatch) -> None:
    assert cores() == 3
    monkeypatch.setenv(JOBS, "1")
    assert cores() == 1
    monkeypatch.setattr(
        "os.sched_getaffinity", lambda whose: {0: {0, 3, 4, 7}}[whose], raising=False
    )
    for nothing in ("none", "0", "-2", ""):
        monkeypatch.setenv(JOBS, nothing)
        assert cores() == 4


def test_in_order_and_never_more_threads_than_cores() -> None:
    """Three meet at a barrier, so that they do run at once; inside them nothing is spread."""
    barrier = threading.Barrier(3, timeout=20)

    def work(number: int) -> tuple[int, int]:
        barrier.wait()
        inner = list(side_by_side(lambda _: threading.get_ident(), range(4)))
        return number, len(set(inner))

    assert list(side_by_side(work, range(3))) == [(0, 1), (1, 1), (2, 1)]
    with crew(1) as spread:
        assert spread is map


def test_after_an_error_nothing_more_is_begun() -> None:
    begun = []

    def work(number: int) -> None:
        begun.append(number)
        raise ValueError(str(number))

    with pytest.raises(ValueError, match="0"):
        list(side_by_side(work, range(200)))
    assert len(begun) < 200


def test_background_work_is_told_when_nobody_waits_for_it() -> None:
    started, seen = threading.Event(), []

    def work() -> None:
        started.set()
        while still_wanted():
            pass
        # Those that it has working for it are told too.
        seen.extend(side_by_side(lambda _: still_wanted(), range(3)))

    with pytest.raises(KeyError), in_background(work):
        started.wait(20)
        raise KeyError
    assert seen == [False, False, False]
    with in_background(lambda: 7) as made:
        assert made() == 7


@pytest.mark.thorough
def test_files_are_the_same(tmp_path: Path) -> None:
    command = ["render", TAKE, "--travel", "0.3", "--rest", "0", "--dirt", "germanium-fuzz"]
    command += ["--hum-db", "-40"]
    few = ("--design", "bare", "--design", "cap", "--design", "gang-series")
    for jobs in ("1", "3"):
        done = presolder(*command, *few, "--jobs", jobs, "--out", tmp_path / jobs)
        assert done.returncode == 0, done.stderr
    one, three = (
        {path.relative_to(tmp_path / jobs): path for path in (tmp_path / jobs).rglob("*.*")}
        for jobs in ("1", "3")
    )
    assert one.keys() == three.keys() and len(one) > 3
    for name, path in one.items():
        assert path.read_bytes() == three[name].read_bytes(), name


@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [
        pytest.param(["tailor", "--series", "E6"], marks=pytest.mark.thorough),
        ["curves", "--tolerance", "--design", "gang-series", "--seed", "7"],
    ],
)
def test_searches_and_draws_are_the_same(command: list[str]) -> None:
    found = [
        presolder(*command, "--json", "--rig", "single-coil-250k", "--jobs", jobs)
        for jobs in ("1", "3")
    ]
    assert found[0].returncode == 0, found[0].stderr
    assert found[0].stdout == found[1].stdout
    assert np.all([one.stdout.startswith("{") for one in found])
