"""Plant small faults in the sources, one at a time, and see whether a test notices.

Run as ``python tests/mutate.py --sample 300``; it takes some seconds a fault and
core, prints a table and writes what survived. Faults are made in functions of
`models/` and `render/`: swapped operators and comparisons, other numbers, calls
left out. A process that has loaded everything is forked for each fault and given
the changed function in place of the old one, so that nothing is loaded again; of
the tests those are run that reach the function, those of its own room first and then
those that reach least besides, as many as take a minute. Commands that fixtures run in
another process run in this one instead; what is started otherwise does not see the
fault. Neither module constants nor arguments' defaults are changed, nor `strict` of a
zip, which guards against mistakes of our own.
"""

import argparse
import ast
import contextlib
import copy
import hashlib
import importlib
import io
import json
import os
import random
import signal
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = {"models": "presolder.models", "render": "presolder.render", "render/api": "presolder"}
SWAPPED: dict[type, type] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Add, ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE,
    ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip
RENAMED = {
    "max": "min", "min": "max", "maximum": "minimum", "minimum": "maximum", "sin": "cos",
    "cos": "sin", "floor": "ceil", "ceil": "floor", "any": "all", "all": "any", "sum": "prod",
    "argmax": "argmin", "argmin": "argmax",
}  # fmt: skip
LONGEST_SECONDS = 150.0
# Of tests for one fault, as measured while it is learnt what they reach.
TESTS_SECONDS = 60.0
# Whose work is done by other programs: they say nothing of a function here.
ELSEWHERE = ("tests/repository", "tests/script", "tests/typed")


@dataclass(frozen=True)
class Fault:
    """One change: which node of which function, and what it becomes."""

    path: str
    line: int
    function: str
    node: int
    said: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line} {self.function}: {self.said}"


# ---- making faults ---------------------------------------------------------------------


def changed(node: ast.AST) -> list[tuple[ast.AST, str]]:
    """What a node may become, and how that is said."""
    made: list[tuple[ast.AST, str]] = []

    def add(said: str, **fields: Any) -> None:
        new = copy.copy(node)
        for name, value in fields.items():
            setattr(new, name, value)
        made.append((new, said))

    match node:
        case ast.BinOp(left, op, right) if type(op) in SWAPPED:
            texts = (ast.JoinedStr, ast.List, ast.Tuple, ast.Dict)
            if not any(isinstance(x, texts) or _is_text(x) for x in (left, right)):
                other = SWAPPED[type(op)]
                add(f"{type(op).__name__} to {other.__name__}", op=other())
        case ast.BoolOp(op, _):
            add(f"{type(op).__name__} to {SWAPPED[type(op)].__name__}", op=SWAPPED[type(op)]())
        case ast.Compare(_, [op, *rest], _) if type(op) in SWAPPED:
            other = SWAPPED[type(op)]
            add(f"{type(op).__name__} to {other.__name__}", ops=[other(), *rest])
        case ast.UnaryOp(ast.Not() | ast.USub(), operand):
            made.append((operand, f"{type(node.op).__name__} dropped"))
        case ast.Constant(bool() as value):
            add(f"{value} to {not value}", value=not value)
        case ast.Constant(int() as value):
            add(f"{value} to {value + 1}", value=value + 1)
        case ast.Constant(float() as value):
            add(f"{value} to {2 * value or 1.0}", value=2 * value or 1.0)
        case ast.Attribute(_, str() as attr) if attr in RENAMED:
            add(f"{attr} to {RENAMED[attr]}", attr=RENAMED[attr])
        case ast.IfExp(_, body, orelse):
            add("branches swapped", body=orelse, orelse=body)
        case ast.Expr(ast.Call()):
            made.append((ast.Pass(), "call left out"))
        case ast.AugAssign():
            made.append((ast.Pass(), "change left out"))
    return made


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def functions(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Functions and methods, by qualified name; what is nested in one belongs to it."""

    def inside(body: list[ast.stmt], before: str) -> Iterator[tuple[str, ast.FunctionDef]]:
        for one in body:
            if isinstance(one, ast.FunctionDef):
                yield before + one.name, one
            elif isinstance(one, ast.ClassDef):
                yield from inside(one.body, f"{before}{one.name}.")

    yield from inside(tree.body, "")


def places(function: ast.FunctionDef) -> Iterator[tuple[int, ast.AST]]:
    """Nodes of a function's body, but for those of nested annotations and defaults."""
    number = 0
    for statement in function.body:
        guards = {
            id(node.value)
            for node in ast.walk(statement)
            if isinstance(node, ast.keyword) and node.arg == "strict"
        }
        for node in ast.walk(statement):
            if id(node) not in guards:
                yield number, node
            number += 1


def all_faults() -> list[Fault]:
    found = []
    for room in ("models", "render"):
        for path in sorted((ROOT / room).rglob("*.py")):
            tree = ast.parse(path.read_text("utf-8"))
            name = path.relative_to(ROOT).as_posix()
            for function, node in functions(tree):
                for number, place in places(node):
                    for i, (_, said) in enumerate(changed(place)):
                        line = getattr(place, "lineno", node.lineno)
                        found.append(Fault(name, line, function, 10 * number + i, said))
    return found


class _Replacing(ast.NodeTransformer):
    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self.old, self.new = old, new

    def visit(self, node: ast.AST) -> ast.AST:
        return ast.copy_location(self.new, node) if node is self.old else self.generic_visit(node)


def faulty_code(fault: Fault) -> CodeType:
    """The function of a fault, compiled with it."""
    path = ROOT / fault.path
    tree = ast.parse(path.read_text("utf-8"))
    function = dict(functions(tree))[fault.function]
    nodes = dict(places(function))
    old = nodes[fault.node // 10]
    new = changed(old)[fault.node % 10][0]
    tree = ast.fix_missing_locations(_Replacing(old, new).visit(tree))
    code = compile(tree, str(path), "exec", dont_inherit=True)
    for name in fault.function.split("."):
        code = next(
            one for one in code.co_consts if isinstance(one, CodeType) and one.co_name == name
        )
    return code


def module_of(path: str) -> str:
    room = next(one for one in ("render/api", "models", "render") if path.startswith(one + "/"))
    rest = path.removeprefix(room + "/").removesuffix(".py").removesuffix("__init__").strip("/")
    return ".".join([ROOMS[room], *filter(None, rest.split("/"))])


def live_function(fault: Fault) -> FunctionType | None:
    """The function as it is loaded, whatever it is wrapped in."""
    found: Any = importlib.import_module(module_of(fault.path))
    for name in fault.function.split("."):
        found = vars(found).get(name)
    for _ in range(6):
        if isinstance(found, FunctionType):
            code = found.__code__
            if code.co_name == fault.function.rpartition(".")[2]:
                return found
        inner = next(
            (
                getattr(found, name)
                for name in ("__wrapped__", "fget", "func", "__func__", "callback")
                if getattr(found, name, None) is not None
            ),
            None,
        )
        if inner is None:
            return None
        found = inner
    return None


# ---- seeing whether a test notices ---------------------------------------------------------


class _Reached:
    """A plugin that tells which functions each test reaches, and how long it takes.

    What makes a fixture that tests share is reached by each that asks for it.
    """

    def __init__(self) -> None:
        self.by_function: dict[str, list[str]] = defaultdict(list)
        self.seconds: dict[str, float] = {}
        self._shared: dict[int, set[CodeType]] = defaultdict(set)
        self._seen: list[set[CodeType]] = []

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Iterator[None]:
        shared = fixturedef.scope != "function"
        if shared:
            self._seen.append(self._shared[id(fixturedef)])
        yield
        if shared:
            self._seen.pop()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        seen: set[CodeType] = set()
        self._seen = [seen]

        def profile(frame: Any, event: str, _: object) -> None:
            if event == "call":
                self._seen[-1].add(frame.f_code)

        began = time.perf_counter()
        sys.setprofile(profile)
        yield
        sys.setprofile(None)
        self.seconds[item.nodeid] = time.perf_counter() - began
        asked: dict[str, Any] = getattr(item, "_fixtureinfo").name2fixturedefs  # noqa: B009
        for definitions in asked.values():
            for one in definitions:
                seen |= self._shared[id(one)]
        for code in seen:
            path = Path(code.co_filename)
            if path.is_relative_to(ROOT) and path.parts[len(ROOT.parts)] in ("models", "render"):
                key = f"{path.relative_to(ROOT).as_posix()}:{code.co_qualname}"
                self.by_function[key].append(item.nodeid)


def run_quietly(words: list[str], plugins: list[object]) -> int:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        return int(pytest.main(["-q", "-p", "no:cacheprovider", "-p", "no:xdist", *words], plugins))


def in_child(work: Any, longest_s: float) -> int | None:
    """Exit status of work done in a fork; None if it took too long."""
    process = os.fork()
    if process == 0:
        os.setpgid(0, 0)
        status = 70
        with contextlib.suppress(BaseException):
            status = work()
        os._exit(status)
    ends = time.monotonic() + longest_s
    while time.monotonic() < ends:
        done, status = os.waitpid(process, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process, signal.SIGKILL)
    os.waitpid(process, 0)
    return None


@dataclass(frozen=True)
class Suite:
    """Which tests reach a function."""

    by_function: dict[str, list[str]]
    seconds: dict[str, float]

    @cached_property
    def reached(self) -> Counter[str]:
        """How many functions each test reaches."""
        return Counter(test for tests in self.by_function.values() for test in set(tests))

    def tests_of(self, fault: Fault) -> list[str]:
        """Those of its own room first, then those that reach least, so many as take a minute.

        A test that reaches little is about that; one that reaches all may ask anything of it.
        """
        chosen, total = [], 0.0
        key, room = f"{fault.path}:{fault.function}", f"tests/{fault.path.split('/')[1]}/"

        def order(test: str) -> tuple[bool, int, str]:
            # By name at last, so that a run can be repeated.
            return not test.startswith(room), self.reached[test], test

        for test in sorted(set(self.by_function.get(key, [])), key=order):
            total += self.seconds[test]
            if total > TESTS_SECONDS and chosen:
                break
            chosen.append(test)
        return chosen


def verdict(fault: Fault, suite: Suite) -> str:
    """Killed, survived, too long for its tests, or why it was not tried."""
    tests = suite.tests_of(fault)
    if not tests:
        return "not reached"
    function = live_function(fault)
    if function is None:
        return "not tried"

    def work() -> int:
        function.__code__ = faulty_code(fault)
        return run_quietly(["-x", *tests], [])

    status = in_child(work, LONGEST_SECONDS)
    return {0: "survived", None: "too long"}.get(status, "killed")


def learn(kept: Path, at_once: int) -> Suite:
    """Run the tests once and see what they reach; kept for the next time, file by file."""
    known: dict[str, Any] = json.loads(kept.read_text("utf-8")) if kept.exists() else {}
    files = {
        path.relative_to(ROOT).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((ROOT / "tests").rglob("test_*.py"), key=lambda one: one.stat().st_size)
    }
    files = {name: hashed for name, hashed in files.items() if not name.startswith(ELSEWHERE)}
    known = {name: one for name, one in known.items() if files.get(name) == one[0]}

    def reach(name: str) -> Any:
        part = kept.with_suffix(f".{hashlib.sha256(name.encode()).hexdigest()[:8]}")

        def work() -> int:
            reached = _Reached()
            run_quietly([name], [reached])
            part.write_text(json.dumps([reached.by_function, reached.seconds]), "utf-8")
            return 0

        in_child(work, 1800)
        found = json.loads(part.read_text("utf-8"))
        part.unlink()
        return found

    new = [name for name in reversed(files) if name not in known]
    with ThreadPoolExecutor(at_once) as pool:
        for name, found in zip(new, pool.map(reach, new), strict=True):
            known[name] = [files[name], *found]
            kept.write_text(json.dumps(known), "utf-8")
    by_function: dict[str, list[str]] = defaultdict(list)
    seconds: dict[str, float] = {}
    for _, functions_of, seconds_of in known.values():
        seconds |= seconds_of
        for function, tests in functions_of.items():
            by_function[function] += tests
    return Suite(by_function, seconds)


def load_everything() -> None:
    sys.path[:0] = [str(ROOT / "tests" / "tools")]
    for path in sorted((ROOT / "models").rglob("*.py")) + sorted((ROOT / "render").rglob("*.py")):
        name = module_of(path.relative_to(ROOT).as_posix())
        if not name.endswith("__main__"):
            importlib.import_module(name)
    # What fixtures have done by another process is done in this one, where the fault is.
    running = importlib.import_module("running")
    running.presolder = running.presolder_here  # type: ignore[attr-defined]


def table(verdicts: dict[Fault, str]) -> str:
    rooms: dict[str, list[str]] = defaultdict(list)
    for fault, said in verdicts.items():
        parts = Path(fault.path).parts
        for room in (parts[0], "/".join(parts[:2]) if len(parts) > 2 else parts[0]):
            if said != "not tried":
                rooms[room].append(said)
    lines = [
        "| room | faults | noticed | survived | too long | no test reaches |",
        "|---|---|---|---|---|---|",
    ]
    for room, each in sorted(rooms.items()):
        killed, lost = each.count("killed"), each.count("survived")
        share = 100 * killed / max(killed + lost, 1)
        late, missed = each.count("too long"), each.count("not reached")
        lines.append(f"| {room} | {len(each)} | {share:.0f} % | {lost} | {late} | {missed} |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sample", type=int, default=200, help="faults in each of both rooms")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="paths that begin so")
    parser.add_argument("--again", type=Path, help="a file of survivors, to try those alone")
    parser.add_argument("--at-once", type=int, default=os.cpu_count() or 1)
    parser.add_argument(
        "--seconds", type=float, default=float("inf"), help="begin none after so long"
    )
    parser.add_argument("--kept", type=Path, default=ROOT / ".reached.json")
    parser.add_argument("--out", type=Path, default=ROOT / ".survivors.txt")
    asked = parser.parse_args()
    os.chdir(ROOT)
    load_everything()
    suite = learn(asked.kept, asked.at_once)
    chosen: list[Fault] = []
    faults = [one for one in all_faults() if one.path.startswith(asked.only)]
    if asked.again is None:
        for room in ("models/", "render/"):
            mine = [one for one in faults if one.path.startswith(room)]
            chosen += random.Random(asked.seed).sample(mine, min(asked.sample, len(mine)))
        random.Random(asked.seed).shuffle(chosen)
    else:
        wanted = set(asked.again.read_text("utf-8").splitlines())
        chosen = [one for one in faults if str(one) in wanted]
        # A line that has moved, or is no longer there.
        for gone in sorted(wanted - {str(one) for one in chosen}):
            print(f"no such fault: {gone}", file=sys.stderr)
    verdicts: dict[Fault, str] = {}
    ends = time.monotonic() + asked.seconds

    def judge(fault: Fault) -> None:
        if time.monotonic() < ends:
            verdicts[fault] = verdict(fault, suite)
            if verdicts[fault] == "survived":
                with asked.out.open("a", encoding="utf-8") as out:
                    out.write(f"{fault}\n")
            if sys.stderr.isatty():
                print(f"\r{len(verdicts)} of {len(chosen)}", end="", file=sys.stderr)

    asked.out.write_text("", "utf-8")
    # A fork is made by whichever thread; each waits for its own.
    with ThreadPoolExecutor(asked.at_once) as pool:
        list(pool.map(judge, chosen))
    print(table(verdicts))
    survivors = [one for one, said in verdicts.items() if said == "survived"]
    survivors.sort(key=lambda one: (one.path, one.line))
    asked.out.write_text("".join(f"{one}\n" for one in survivors), "utf-8")


if __name__ == "__main__":
    main()
