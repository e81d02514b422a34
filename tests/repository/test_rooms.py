"""The house: every file in its room, imports running one way, nothing too long."""

import ast
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import click
import pytest

from presolder.render.cli import SUMMARIES, cli
from takes import ROOT

# From the ground up; an import never runs upwards. "" is the room's own files.
ROOMS = (
    "models",
    "models.core",
    "models.instrument",
    "models.circuit",
    "models.audio",
    "models.hearing",
    "models.judging",
    "models.measuring",
    "samples",
    "render",
    "render.files",
    "render.batch",
    "render.plots",
    "render.report",
    "render.listening",
    "api",
    "render.bench",
    "render.commands",
    "cli",
)
FOLDERS = {"api": "render/api", "cli": "render"}
# The command line stands on top of all rooms, whatever folder its files lie in.
TOP = ("render.cli", "render.start", "render.__main__", "api.__main__")
MOST_LINES = 50


def sources() -> dict[str, Path]:
    """Every module by dotted name, the face's under ``api``."""
    found = {}
    for top in ("models", "render"):
        for path in (ROOT / top).rglob("*.py"):
            parts = path.relative_to(ROOT).with_suffix("").parts
            name = ".".join(part for part in parts if part != "__init__")
            found[name.replace("render.api", "api")] = path
    return found


def room_of(module: str) -> int:
    """The floor that a module is on."""
    if module in TOP:
        return ROOMS.index("cli")
    name = module if module in ROOMS else module.rpartition(".")[0]
    return ROOMS.index(name)


def imported(path: Path, modules: dict[str, Path]) -> Iterator[str]:
    """Modules of ours that a file imports, wherever in it the import stands."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        for name in names:
            if not (name + ".").startswith("presolder."):
                continue
            own = name.removeprefix("presolder").removeprefix(".")
            if not own.startswith(("models", "render", "samples")):
                own = f"api.{own}".rstrip(".")
            # What is imported is the longest part of the name that is a module.
            while own not in modules:
                own = own.rpartition(".")[0]
            yield own


MODULES = sources()
ARROWS = {name: set(imported(path, MODULES)) for name, path in MODULES.items()}


def test_every_source_file_is_seen() -> None:
    assert len(MODULES) > 90
    assert {"models.circuit.ports", "render.files.toml", "api._judge", "api"} <= set(MODULES)
    assert sum(map(len, ARROWS.values())) > 300


@pytest.mark.parametrize("module", sorted(MODULES))
def test_no_import_runs_upwards(module: str) -> None:
    for other in ARROWS[module]:
        assert room_of(other) <= room_of(module), f"{module} imports {other}"


def test_no_circle() -> None:
    graph = {name: {other for other in others if other != name} for name, others in ARROWS.items()}
    assert len(list(TopologicalSorter(graph).static_order())) == len(MODULES)


def test_models_touch_no_file_and_print_nothing() -> None:
    barred = ("presolder.render", "presolder.samples", "soundfile", "pathlib", "os", "io", "click")
    for name, path in MODULES.items():
        if not name.startswith("models"):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            # How many cores there are is asked of the system.
            allowed = {"os"} if name == "models.cores" else set()
            assert not [
                n
                for n in names
                if n not in allowed and (n.split(".")[0] in barred or n.startswith(barred[:2]))
            ], name
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in ("open", "print"), name


def test_option_names_stand_in_commands_only() -> None:
    """Elsewhere a message must make sense to someone who calls from a script."""
    options = {
        option
        for name in SUMMARIES
        for parameter in cli.get_command(click.Context(cli), name).params  # type: ignore[union-attr]
        for option in parameter.opts
        if option.startswith("--")
    }
    assert len(options) > 30
    for name, path in MODULES.items():
        # A batch writes command lines itself.
        if name.startswith(("render.commands", "render.cli", "render.batch")):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                words = set(node.value.replace(",", " ").replace(":", " ").split())
                assert not words & options, (name, words & options)


def test_no_function_is_long() -> None:
    """Its docstring apart, which says shapes, units and sources."""
    for name, path in MODULES.items():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef):
                lines = (node.end_lineno or 0) - node.lineno + 1
                if ast.get_docstring(node) is not None:
                    lines -= (node.body[0].end_lineno or 0) - node.body[0].lineno + 1
                assert lines <= MOST_LINES, (name, node.name, lines)


def test_overview_says_what_each_command_says_of_itself() -> None:
    for name, summary in SUMMARIES.items():
        command = cli.get_command(click.Context(cli), name)
        assert command is not None
        assert command.name == name
        assert (command.help or "").split("\n\n")[0].replace("\n", " ") == summary


def test_types_see_every_file_of_the_face() -> None:
    """The links by which mypy finds the face under its installed name."""
    linked = {path.name for path in (ROOT / "tests/typed/presolder").iterdir() if path.is_symlink()}
    face = {path.name for path in (ROOT / "render/api").iterdir() if path.is_file()}
    assert linked == face | {"models", "render", "samples"}
