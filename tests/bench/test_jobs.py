"""A job's folder: every change kept, none lost, whoever else writes."""

import json
import multiprocessing
import os
from pathlib import Path

import pytest

from presolder.models.errors import InputError
from presolder.render.bench import jobs
from presolder.render.files.rig_file import built_in_rigs, changed_text, find_situations

RIG = built_in_rigs()["humbucker-500k"].read_text("utf-8")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return tmp_path / jobs.begin(tmp_path, "Tuesday's blue one", RIG)


def cable(job: Path, metres: float) -> jobs.Version:
    now = jobs.newest(job)
    rig = changed_text(now.rig, {"cable.length": f"{metres:g} m"})
    return jobs.change(job, now.number, "cable", rig=rig)


def metres_of(job: Path) -> float:
    """As the commands read it, by the folder's name."""
    (one,) = find_situations(str(job), as_given=True)
    return one.rig.cable_farads / 105e-12


def test_commands_read_the_same_folder(job: Path) -> None:
    cable(job, 8.0)
    assert metres_of(job) == pytest.approx(8.0)


@pytest.mark.slow
def test_sixty_steps_back_and_forth(job: Path) -> None:
    for metres in range(1, 62):
        cable(job, float(metres))
    for metres in range(60, 0, -1):
        jobs.step(job, jobs.newest(job).number, back=True)
        assert metres_of(job) == pytest.approx(metres)
    for metres in range(2, 62):
        jobs.step(job, jobs.newest(job).number, back=False)
        assert metres_of(job) == pytest.approx(metres)
    # A change after going back is the end of what was undone.
    jobs.step(job, jobs.newest(job).number, back=True)
    cable(job, 3.0)
    with pytest.raises(InputError, match="nothing to do again"):
        jobs.step(job, jobs.newest(job).number, back=False)
    jobs.step(job, jobs.newest(job).number, back=True)
    assert metres_of(job) == pytest.approx(60.0)


def test_who_changes_what_is_no_longer_so_is_told(job: Path) -> None:
    seen = jobs.newest(job)
    cable(job, 8.0)
    with pytest.raises(jobs.OutrunError, match=r"changed elsewhere meanwhile \(cable\)"):
        jobs.change(job, seen.number, "notes", told=jobs.told_of(seen).changed({"notes": "x"}))
    assert metres_of(job) == pytest.approx(8.0)


def _adds(job: Path, count: int, name: str) -> None:
    """Add lines to the notes, again where another was faster."""
    for number in range(count):
        while True:
            now = jobs.newest(job)
            told = jobs.told_of(now)
            try:
                more = told.changed({"notes": f"{told.notes}{name}{number}\n"})
                jobs.change(job, now.number, "notes", told=more)
                break
            except jobs.OutrunError:
                continue


def test_of_two_writers_none_loses_a_change(job: Path) -> None:
    context = multiprocessing.get_context("fork")
    writers = [context.Process(target=_adds, args=(job, 20, name)) for name in "ab"]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
    written = jobs.told_of(jobs.newest(job)).notes.split()
    assert sorted(written) == sorted(f"{name}{i}" for name in "ab" for i in range(20))


def test_a_save_that_was_cut_short_is_finished(job: Path) -> None:
    """Killed after the version, before the two files that follow from it."""
    rig, job_file = ((job / name).read_text("utf-8") for name in ("rig.toml", "job.toml"))
    before = {name: (job / name).stat().st_mtime_ns for name in ("rig.toml", "job.toml")}
    cable(job, 8.0)
    for name, text in (("rig.toml", rig), ("job.toml", job_file)):
        (job / name).write_text(text, "utf-8")
        os.utime(job / name, ns=(before[name], before[name]))
    assert jobs.newest(job).did == "cable"
    assert metres_of(job) == pytest.approx(8.0)


def test_what_an_editor_changes_is_a_version_too(job: Path) -> None:
    text = (job / "rig.toml").read_text("utf-8").replace("length_m = 5.5", "length_m = 2")
    (job / "rig.toml").write_text(text, "utf-8")
    assert jobs.newest(job).did == "changed outside the bench"
    jobs.step(job, jobs.newest(job).number, back=True)
    assert metres_of(job) == pytest.approx(5.5)


def test_a_file_that_was_taken_away_comes_back(job: Path) -> None:
    cable(job, 8.0)
    (job / "job.toml").unlink()
    (job / "rig.toml").unlink()
    assert list(jobs.jobs_in(job.parent)) == [job.name]
    jobs.newest(job)
    assert (job / "job.toml").is_file()
    assert metres_of(job) == pytest.approx(8.0)


def test_what_an_editor_spoils_is_said_and_taken_back(job: Path) -> None:
    (job / "job.toml").write_text("title = [", "utf-8")
    spoilt = jobs.newest(job)
    with pytest.raises(InputError, match="job.toml: not valid TOML"):
        jobs.told_of(spoilt)
    assert jobs.told_of(jobs.step(job, spoilt.number, back=True)).title == "Tuesday's blue one"


def test_a_rig_beside_the_bench_is_taken_as_found(tmp_path: Path) -> None:
    folder = tmp_path / "older"
    folder.mkdir()
    (folder / "rig.toml").write_text(RIG, "utf-8")
    assert list(jobs.jobs_in(tmp_path)) == ["older"]
    assert jobs.newest(folder).did == "as it was found"


def test_names_that_are_taken_get_a_number(job: Path) -> None:
    assert jobs.begin(job.parent, "Tuesday's blue one", RIG) == f"{job.name}-2"
    assert jobs.begin(job.parent, "Tuesday's blue one", RIG) == f"{job.name}-3"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"design": "1k ||"}, "1k"),
        ({"notes": "x" * 20_001}, "notes: has 20001 characters; at most 20000"),
        ({"title": "two\nlines"}, "title"),
        ({"done": "all"}, "done: must be a list of texts"),
        ({"colour": "blue"}, "unknown key 'colour'"),
        ({"readings": ["pot-0-1=much"]}, "the reading 'pot-0-1'"),
    ],
)
def test_what_cannot_be_leaves_all_as_it_was(
    job: Path, changes: dict[str, object], said: str
) -> None:
    before = sorted(path.name for path in job.rglob("*"))
    now = jobs.newest(job)
    with pytest.raises(InputError, match=said):
        jobs.change(job, now.number, "x", told=jobs.told_of(now).changed(changes))
    assert sorted(path.name for path in job.rglob("*")) == before


@pytest.mark.thorough
def test_old_versions_make_room(job: Path) -> None:
    for metres in range(1, 205):
        cable(job, float(metres % 30 + 1))
    kept = sorted((job / "history").iterdir())
    assert len(kept) == 200
    assert json.loads(kept[-1].read_text("utf-8"))["number"] == 205


def test_a_recording_made_anew_can_be_taken_back(tmp_path: Path) -> None:
    """And taken back again."""
    take = tmp_path / "takes" / "at-7.wav"
    take.parent.mkdir()
    jobs.keep_earlier(take)
    assert not jobs.earlier_of(take).exists()
    for made in (b"first", b"second", b"third"):
        jobs.keep_earlier(take)
        (tmp_path / "new").write_bytes(made)
        (tmp_path / "new").replace(take)
    for counts, earlier in ((b"second", b"third"), (b"third", b"second")):
        jobs.swap_takes(take)
        assert (take.read_bytes(), jobs.earlier_of(take).read_bytes()) == (counts, earlier)
    assert [one.name for one in jobs.takes_of(tmp_path)] == ["at-7.wav"]
    jobs.earlier_of(take).unlink()
    with pytest.raises(InputError, match="no recording before"):
        jobs.swap_takes(take)
