"""Wheel from an sdist, and editable, in fresh environments; and other Pythons that are here."""

import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from takes import ROOT, SAMPLES

pytestmark = pytest.mark.slow

VERSIONS = ("3.11", "3.12", "3.13", "3.14")
OURS = f"{sys.version_info.major}.{sys.version_info.minor}"
SCRIPT = """
import presolder as ps, presolder, pathlib
assert ps.need(ps.rig("two-pickups")).verdict in ("no", "hardly", "probably", "yes")
assert len(ps.designs()) == 15 and len(ps.rigs()) == 12
assert "<svg" in ps.sheet("humbucker-500k", "series").page()
assert ps.sample("phrase").sample_rate_hz == 48000
for name in ps.__all__:
    getattr(ps, name)
print(pathlib.Path(presolder.__file__).parent)
"""


def run(*command: str | Path, **more: object) -> str:
    result = subprocess.run(
        [str(word) for word in command], capture_output=True, text=True, check=False, **more
    )  # type: ignore[call-overload]
    assert result.returncode == 0, f"{command}\n{result.stdout}\n{result.stderr}"
    return str(result.stdout)


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What is in the repository, and nothing that lies about beside it."""
    copy = tmp_path_factory.mktemp("source") / "presolder"
    names = run("git", "ls-files", "--cached", "--others", "--exclude-standard", cwd=ROOT)
    for name in filter(None, names.split("\n")):
        if (ROOT / name).is_file():
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, copy / name, follow_symlinks=False)
    # What a source distribution holds is what is tracked.
    run("git", "init", "-q", copy)
    run("git", "add", "-A", cwd=copy)
    run("git", "-c", "user.name=a", "-c", "user.email=a", "commit", "-q", "-m", "all", cwd=copy)
    return copy


@pytest.fixture(scope="module")
def built(source: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """An sdist, and a wheel made from it."""
    out = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--installer", "uv", "--outdir", out, source)
    return {"wheel": next(out.glob("*.whl")), "sdist": next(out.glob("*.tar.gz"))}


@pytest.fixture(scope="module")
def dependencies(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Links to what this environment has, but for presolder itself."""
    folder = tmp_path_factory.mktemp("dependencies")
    for entry in Path(sysconfig.get_path("purelib")).iterdir():
        if "presolder" not in entry.name:
            (folder / entry.name).symlink_to(entry)
    return folder


def works(python: Path, tmp_path: Path, *, renders: bool) -> Path:
    """Try everything once, rendering if asked, which compiles; where the package lies."""
    # Outside the sources, and with a cache of its own for the compiled loops.
    alone = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    alone["NUMBA_CACHE_DIR"] = str(tmp_path / "cache")
    where = run(python, "-W", "error::ImportWarning", "-c", SCRIPT, cwd=tmp_path, env=alone)
    command = python.parent / "presolder"
    assert "presolder, version" in run(command, "--version", cwd=tmp_path, env=alone)
    if not renders:
        return Path(where.strip())
    turn = ("--travel", "0.3", "--rest", "0", "--design", "gang-series", "--out", "out")
    run(command, "render", SAMPLES / "phrase.flac", *turn, cwd=tmp_path, env=alone)
    assert (tmp_path / "out" / "manifest.json").exists()
    return Path(where.strip())


def new_environment(folder: Path) -> tuple[Path, Path]:
    """An environment without pip: its Python, and where packages go."""
    venv.create(folder, with_pip=False, symlinks=True)
    python = folder / "bin" / "python"
    where = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))")
    return python, Path(where.strip())


@pytest.mark.thorough
def test_editable(source: Path, dependencies: Path, tmp_path: Path) -> None:
    python, library = new_environment(tmp_path / "env")
    (library / "dependencies.pth").write_text(f"{dependencies}\n")
    what = ("--no-deps", "-e", source)
    run(sys.executable, "-m", "uv", "pip", "install", "-q", "--python", python, *what)
    assert works(python, tmp_path, renders=False).is_relative_to(source)
    assert not (library / "render").exists() and not (library / "models").exists()


@pytest.mark.thorough
def test_wheel_and_the_lowest_versions_asked_for(built: dict[str, Path], tmp_path: Path) -> None:
    """Made from the sdist, which is thereby enough too; CI itself has the newest versions."""
    python, library = new_environment(tmp_path / "env")
    with zipfile.ZipFile(built["wheel"]) as wheel:
        (name,) = (one for one in wheel.namelist() if one.endswith(".dist-info/METADATA"))
        told = wheel.read(name).decode()
    asked = re.findall(r"^Requires-Dist: ([^;\n]+)$", told, re.MULTILINE)
    # For later Pythons the lowest numpy was never built.
    oldest = sys.version_info < (3, 13)
    lowest = [one.replace(">=", "==") for one in asked] if oldest else []
    options = ("--only-binary", ":all:", "--python", python)
    run(sys.executable, "-m", "uv", "pip", "install", "-q", *options, built["wheel"], *lowest)
    if oldest:
        assert run(python, "-c", "import numpy; print(numpy.__version__)").strip() == "2.0.0"
    assert works(python, tmp_path, renders=True).is_relative_to(library)
    assert not (library / "render").exists() and not (library / "models").exists()
    for words in (
        ("compare", "--design", "cap"),
        ("curves", "--design", "cap", "--plot", "a.svg"),
        ("sheet", "--design", "cap", "--out", "a.html"),
        ("init", "--like", "two-pickups", "--out", "a.toml"),
        ("pack", SAMPLES / "phrase.flac", "--design", "cap", "--hold", "5", "--travel", "1"),
        ("doctor",),
    ):
        run(python.parent / "presolder", *words, cwd=tmp_path)


def test_the_pages_come_with_a_wheel_and_the_programs_that_make_them_do_not(
    built: dict[str, Path],
) -> None:
    with zipfile.ZipFile(built["wheel"]) as wheel:
        names = {name for name in wheel.namelist() if name.startswith("presolder/docs/")}
    assert {f"presolder/docs/{name}.md" for name in ("json", "figures", "rig-format")} <= names
    assert {name for name in names if not name.endswith(".md")} == {"presolder/docs/__init__.py"}


@pytest.mark.thorough
def test_tests_of_the_source_distribution_run(built: dict[str, Path], tmp_path: Path) -> None:
    """All that is tracked is in it, with the helpers and the list of what CI calls."""
    with tarfile.open(built["sdist"]) as archive:
        archive.extractall(tmp_path, filter="data")
    (unpacked,) = tmp_path.iterdir()
    tracked = run("git", "ls-files", "tests", "docs", "models", "render", cwd=ROOT).split()
    # Links to folders, which only mypy looks through, do not travel.
    files = [name for name in tracked if not (ROOT / name).is_dir()]
    missing = [name for name in files if not (unpacked / name).exists()]
    assert missing == []
    some = ("tests/instrument/test_cubic.py", "tests/circuit/test_two_pickups.py")
    assert "passed" in run(sys.executable, "-m", "pytest", "-q", *some, cwd=unpacked)
    metadata = (unpacked / "PKG-INFO").read_text("utf-8")
    assert "Classifier: Typing :: Typed" in metadata and "](docs/pictures" not in metadata


def other_pythons() -> Iterator[tuple[str, Path]]:
    """Other versions that run here: on the path, or where pyenv keeps them."""
    kept = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    for version in VERSIONS:
        found = shutil.which(f"python{version}")
        candidates = [Path(found)] if found else []
        candidates += sorted(kept.glob(f"{version}.*/bin/python{version}"))
        for candidate in candidates:
            probe = subprocess.run([candidate, "-c", ""], capture_output=True, check=False)
            if version != OURS and probe.returncode == 0:
                yield version, candidate
                break


@pytest.mark.parametrize(
    ("version", "interpreter"),
    [
        pytest.param(*one, marks=pytest.mark.thorough if more else ())
        for more, one in enumerate(sorted(other_pythons(), reverse=True))
    ],
)
def test_other_pythons(
    version: str, interpreter: Path, built: dict[str, Path], tmp_path: Path
) -> None:
    fresh = tmp_path / "env"
    run(interpreter, "-m", "venv", "--without-pip", fresh)
    python = fresh / "bin" / "python"
    run(sys.executable, "-m", "uv", "pip", "install", "-q", "--python", python, built["wheel"])
    assert run(python, "-c", "import sys; print(*sys.version_info[:2], sep='.')").strip() == version
    works(python, tmp_path, renders=True)
