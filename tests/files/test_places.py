"""Where results go: nothing of anybody else's is taken away, and what was there is there until the new is."""

import contextlib
import json
import os
import shutil
import stat
import threading
import warnings
from collections.abc import Callable
from hashlib import sha256
from itertools import product
from pathlib import Path

import pytest

from presolder.models.errors import InputError
from presolder.render.files import folder as folder_module
from presolder.render.files.folder import new_file, new_folder
from presolder.render.files.record import RECORD, recorded
from running import presolder_here
from takes import SAMPLES

TAKE = str(SAMPLES / "phrase.flac")


def only_one_line(text: str) -> None:
    assert text.count("\n") == 1 and text.startswith("presolder: ") and len(text) < 300, text


def test_force_replaces_all_that_an_earlier_run_wrote(tmp_path: Path) -> None:
    out = tmp_path / "out"
    common = ("render", TAKE, "--travel", "0.5", "--rest", "0.1", "--out", out)
    assert presolder_here(*common, "--design", "cap", "--design", "bare").returncode == 0
    (out / "sweep" / "mine.wav").write_text("of the user")
    (out / "notes.txt").write_text("of the user")
    # What somebody has taken out meanwhile is not missed.
    (out / "sweep" / "bare.wav").unlink()
    assert presolder_here(*common, "--design", "series", "--force").returncode == 0
    left = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    assert left == {RECORD, "manifest.json", "notes.txt", "sweep/mine.wav", "sweep/series.wav"}
    written = json.loads((out / RECORD).read_text())["written"]
    assert [one["file"] for one in written] == ["manifest.json", "sweep/series.wav"]
    for one in written:
        content = (out / one["file"]).read_bytes()
        assert (one["bytes"], one["sha256"]) == (len(content), sha256(content).hexdigest())


def entry(name: str, content: bytes) -> dict[str, object]:
    """What a record would say of a file, made by hand."""
    return {"file": name, "bytes": len(content), "sha256": sha256(content).hexdigest()}


def tree(folder: Path) -> dict[str, object]:
    """All there is, links as such, and what is in it."""
    return {
        path.relative_to(folder).as_posix(): str(path.readlink())
        if path.is_symlink()
        else None
        if path.is_dir()
        else path.read_bytes()
        for path in sorted(folder.rglob("*"))
    }


@pytest.mark.parametrize(
    "lay",
    [
        # A record from elsewhere that names files outside, through a link, a folder, or nonsense.
        lambda out: [
            entry("../outside.txt", b"stays"),
            entry(str(out.parent / "outside.txt"), b"stays"),
        ],
        lambda _: [entry("link/p.txt", b"precious")],
        lambda _: [entry("dir", b""), entry("", b""), entry("link", b"precious")],
        # Other bytes than it says, as an archive would that cannot know them.
        lambda _: [
            entry("thesis.txt", b"yours"),
            {"file": "thesis.txt", "bytes": 4, "sha256": "0"},
        ],
        lambda _: [{"file": 3}, 7, None],
        lambda _: {"a": 1},
    ],
)
def test_force_takes_away_nothing_that_presolder_did_not_write(
    tmp_path: Path, lay: Callable[[Path], object]
) -> None:
    out = tmp_path / "out"
    for folder in (tmp_path / "secret", out / "dir", out / "mine" / "empty"):
        folder.mkdir(parents=True)
    (tmp_path / "outside.txt").write_text("stays")
    (tmp_path / "secret" / "p.txt").write_text("precious")
    (out / "thesis.txt").write_text("mine")
    (out / "link").symlink_to("../secret")
    (out / RECORD).write_text(json.dumps({"written": lay(out)}))
    before = tree(tmp_path)
    # One that cannot be read as a record is not even itself presolder's.
    with (
        contextlib.suppress(InputError)
        if recorded(out)
        else pytest.raises(InputError, match="way"),
        new_folder(out, force=True) as scratch,
    ):
        (scratch / "a").write_text("a")
    after = tree(tmp_path)
    theirs = before.keys() - {f"out/{RECORD}"}
    assert {name: after[name] for name in theirs} == {name: before[name] for name in theirs}
    assert after.keys() - before.keys() == ({"out/a"} if recorded(out) else set())


@pytest.mark.parametrize("kind", ["link", "folder", "file", "pipe", "edited"])
@pytest.mark.parametrize("beside", [True, False])
def test_what_is_in_the_way_stays_and_so_does_the_earlier_result(
    tmp_path: Path, kind: str, beside: bool
) -> None:
    out = tmp_path / "out"
    with new_folder(out, force=False) as scratch:
        (scratch / "room").mkdir()
        (scratch / "room" / "a").write_text("earlier")
        (scratch / "b").write_text("earlier too")
    if beside:
        (out / "notes.txt").write_text("of the user")
    match kind:
        case "link":
            shutil.rmtree(out / "room")
            (tmp_path / "elsewhere").mkdir()
            (out / "room").symlink_to("../elsewhere")
        case "folder":
            (out / "room" / "a").unlink()
            (out / "room" / "a").mkdir()
        case "file":
            shutil.rmtree(out / "room")
            (out / "room").write_text("of the user")
        case "pipe":
            (out / "room" / "a").unlink()
            os.mkfifo(out / "room" / "a")
        case "edited":
            (out / "room" / "a").write_text("edited!")
    named = sorted(path.relative_to(out) for path in out.rglob("*"))
    with pytest.raises(InputError, match="in the way"), new_folder(out, force=True) as scratch:
        (scratch / "room").mkdir()
        (scratch / "room" / "a").write_text("new")
    assert sorted(path.relative_to(out) for path in out.rglob("*")) == named
    assert (out / "b").read_text() == "earlier too"
    assert not list(tmp_path.glob(".*"))


@pytest.mark.parametrize("beside", [True, False])
def test_a_result_that_cannot_be_moved_leaves_the_earlier_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, beside: bool
) -> None:
    """Whichever of its moves fails, as on a disk that goes away; and it is undone by the next run
    where this one was killed at that moment."""
    out = tmp_path / "out"

    def lay() -> dict[str, object]:
        shutil.rmtree(out, ignore_errors=True)
        with new_folder(out, force=False) as scratch:
            (scratch / "room").mkdir()
            (scratch / "room" / "a").write_text("earlier")
            (scratch / "b").write_text("earlier")
        if beside:
            (out / "notes.txt").write_text("of the user")
        return tree(out)

    def replace() -> None:
        with new_folder(out, force=True) as scratch:
            (scratch / "c").write_text("new")
            (scratch / "b").write_text("new")

    class Moves:
        """Renames, of which one fails."""

        def __init__(self, failing: int) -> None:
            self.left = failing

        def __call__(self, source: Path, target: Path) -> Path:
            self.left -= 1
            if self.left == 0:
                raise OSError(5, "Input/output error")
            return rename(source, target)

    rename, failed = Path.rename, 0
    for failing, killed in product(range(1, 12), (False, True)):
        before, moves = lay(), Moves(failing)
        with monkeypatch.context() as patch:
            patch.setattr(Path, "rename", lambda *given, moves=moves: moves(*given))
            if killed:
                # What a killed process does not do.
                patch.setattr(folder_module, "_undo", lambda *_: None)
                patch.setattr(folder_module.shutil, "rmtree", lambda *_, **__: None)
            with contextlib.suppress(InputError):
                replace()
        if moves.left > 0:
            assert {"b", "c", RECORD} <= {path.name for path in out.iterdir()}
            continue
        failed += 1
        if killed:
            with pytest.raises(ZeroDivisionError), new_folder(out, force=True):
                raise ZeroDivisionError
        assert tree(out) == before, (failing, killed)
        assert not list(tmp_path.glob(".*"))
    # Two moves of whole folders, or one a file.
    assert failed == 2 * (6 if beside else 2)


@pytest.mark.parametrize("target", ["there", "nothing"])
def test_a_link_is_followed(tmp_path: Path, target: str) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "out").symlink_to(target)
    with new_folder(tmp_path / "out", force=False) as scratch:
        (scratch / "a").write_text("a")
    assert (tmp_path / "out").is_symlink() and (tmp_path / target / "a").read_text() == "a"
    (tmp_path / "old.csv").write_text("old")
    (tmp_path / "link.csv").symlink_to("old.csv")
    with pytest.raises(InputError, match="exists already"), new_file(tmp_path / "link.csv"):
        pass
    with new_file(tmp_path / "link.csv", force=True) as scratch:
        scratch.write_text("new")
    assert (tmp_path / "link.csv").is_symlink() and (tmp_path / "old.csv").read_text() == "new"


def test_whoever_stands_in_a_folder_stays_in_it(tmp_path: Path) -> None:
    (tmp_path / "here").mkdir()
    with contextlib.chdir(tmp_path / "here"):
        for force in (False, True):
            with new_folder(Path(), force=force) as scratch:
                (scratch / "a").write_text("a")
        assert {path.name for path in Path().iterdir()} == {"a", RECORD}
    assert not list(tmp_path.glob(".*"))


@pytest.mark.slow
@pytest.mark.parametrize("force", [True, False])
@pytest.mark.parametrize("option", ["--csv", "--plot"])
def test_pipes_and_devices_are_written_into(tmp_path: Path, option: str, force: bool) -> None:
    """And never replaced; nodes of the test's own."""
    pipe = tmp_path / "pipe.svg"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()), daemon=True)
    reader.start()
    words = ["curves", "--design", "bare", option, pipe, *(["--force"] if force else [])]
    done = presolder_here(*words)
    reader.join(timeout=60)
    assert done.returncode == 0, done.stderr
    assert stat.S_ISFIFO(pipe.lstat().st_mode)
    assert got[0].startswith(b"<?xml" if option == "--plot" else b"design")
    sink = tmp_path / "sink.svg"
    try:
        os.mknod(sink, 0o600 | stat.S_IFCHR, os.makedev(1, 3))
    except PermissionError:
        warnings.warn("only root may make a device", stacklevel=1)
        return
    words[4] = sink
    assert presolder_here(*words).returncode == 0
    assert stat.S_ISCHR(sink.lstat().st_mode)
    assert presolder_here("render", TAKE, "--out", sink, "--force").returncode == 2
    assert stat.S_ISCHR(sink.lstat().st_mode)


@pytest.mark.parametrize(
    "words",
    [
        ("render", "missing.wav", "--out", "taken"),
        ("pack", "missing.wav", "--out", "taken"),
        ("pack", "missing.wav", "--out", "taken.zip"),
        ("pack", "missing.wav", "--single-file", "--out", "taken.html"),
        ("curves", "--draws", "5", "--csv", "taken.csv"),
        ("cleanup", "--take", "missing.wav", "--plot", "taken.svg"),
        ("tailor", "--topology", "nonsense", "--plot", "taken.svg"),
    ],
)
def test_whether_a_place_is_free_is_seen_before_the_work(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    """So before the recording is looked for."""
    (tmp_path / "taken").mkdir()
    for name in ("taken/x", "taken.zip", "taken.html", "taken.csv", "taken.svg"):
        (tmp_path / name).write_text("of the user")
    with contextlib.chdir(tmp_path):
        done = presolder_here(*words)
    assert done.returncode == 2 and "force is needed" in done.stderr
    only_one_line(done.stderr)


def test_of_two_runs_one_wins_and_the_other_says_so(tmp_path: Path) -> None:
    out = tmp_path / "out.zip"
    with (
        pytest.raises(InputError, match="exists already"),
        new_file(out) as slower,
    ):
        with new_file(out) as faster:
            faster.write_text("faster")
        slower.write_text("slower")
    assert out.read_text() == "faster"
    folder = tmp_path / "folder"
    with (
        pytest.raises(InputError, match="has files in it"),
        new_folder(folder, force=False) as slow_one,
    ):
        with new_folder(folder, force=False) as fast_one:
            (fast_one / "a").write_text("faster")
        (slow_one / "b").write_text("slower")
    assert sorted(path.name for path in folder.iterdir()) == [RECORD, "a"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["folder", "out.zip"]
