"""Hostile inputs for every reader and the command line, and the contract that each must keep.

Success, or one clear line: an `InputError` of a reader; of a command the documented
exit status and at most 300 characters. No other exception, no warning of a library,
no number that is none, nothing left behind, and no wait.
"""

import contextlib
import inspect
import io
import os
import re
import signal
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import click
import numpy as np
import soundfile
from hypothesis import strategies as st

import presolder as ps
from presolder import Judging
from presolder.models.audio.knob import KnobPath
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.errors import InputError, OddValueWarning
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.render.batch.jobs import read_jobs
from presolder.render.cli import SUMMARIES, cli, run
from presolder.render.files.audio import read_recording
from presolder.render.files.designs import read_designs, resolve_design
from presolder.render.files.dirt import read_dirt_file
from presolder.render.files.points import read_gesture, read_points, read_spectrum
from presolder.render.files.rig_file import built_in_rigs, find_rig, read_situations
from presolder.render.files.speaker import load_speaker
from presolder.render.files.stock import read_stock
from presolder.render.files.wanted import read_wanted
from stage_netlist import PEDALS
from takes import SAMPLES

FINDS = Path(__file__).parents[1] / "data" / "finds"
LONGEST_LINE = 300
# Far more than any input here is worth, on a busy machine.
PATIENCE_SECONDS = 60

HOSTILE = (
    "nan", "inf", "-inf", "1e309", "-1e309", "1e308", "1e-320", "5e-324", "0", "-0.0", "-1", "1",
    "10", "1e12", "9" * 400, "0x" + "f" * 40, "1_000", "true", "false", '""', "''", "[]", "{}",
    "[[]]", '"nan"', '"inf"', '"1e-300"', '"4k7"', '"470p"', '"0"', '"-5k"', '"audio"', '"linear"',
    "1979-05-27", '"\\u0000"', "'''", '"""', "\\", "\0", "\r", "\n", "\t", " ", ",", ",,,", "=", "#",
    "..", "../..", "/", "-", "--", "@", "||", "+", "(((", ")))", "gang(", "gang(1M, audio, full)",
    "Ω", "µ", "∥", "🎸", "\u202e", "\ufeff", "ﬀ", "é" * 200, "x" * 5000, "a.a.a.a", "%s%n", "$HOME",
    "`id`", "=1+1", "1e5", "20", "44100", "1.5", "0.5", "100", "3,2,1", "1:2:3", "10=5", "7=96k",
)  # fmt: skip


@dataclass(frozen=True)
class Target:
    """One way in.

    Attributes
    ----------
    inputs : strategy
        What goes in.
    enter : callable
        Reads it, in a scratch folder that is the current one; raises what the
        contract forbids.
    share : int
        How often it is drawn, beside the others.
    """

    inputs: st.SearchStrategy[Any]
    enter: Callable[[Any], None]
    share: int


class BrokenContractError(AssertionError):
    """What must not happen."""


# ---- the contract -----------------------------------------------------------------------


@contextlib.contextmanager
def in_scratch() -> Iterator[Path]:
    """A folder of its own, and a limit of time."""

    def too_long(*_: object) -> None:
        raise BrokenContractError(f"takes more than {PATIENCE_SECONDS} s")

    before = signal.signal(signal.SIGALRM, too_long)
    with tempfile.TemporaryDirectory() as name, contextlib.chdir(name):
        signal.alarm(PATIENCE_SECONDS)
        try:
            yield Path(name)
        finally:
            signal.alarm(0)
            signal.signal(signal.SIGALRM, before)


def reading(read: Callable[[Path], object], ending: str) -> Callable[[bytes], None]:
    """A reader of files, which may refuse with an `InputError` and in no other way."""

    def enter(content: bytes) -> None:
        with in_scratch() as scratch, warnings.catch_warnings():
            warnings.simplefilter("error")
            warnings.simplefilter("ignore", OddValueWarning)
            file = scratch / f"given{ending}"
            file.write_bytes(content)
            try:
                read(file)
            except InputError as error:
                require(str(error).strip(), "an error without words")

    return enter


def require(fulfilled: object, what: str) -> None:
    if not fulfilled:
        raise BrokenContractError(what)


def require_sound(rig: Rig, design: Design) -> None:
    """What was taken must give numbers."""
    found = transfer(chain_equations(rig, design.network), np.array([50.0, 5e3]), np.array([3.0]))
    require(np.isfinite(found).all(), f"response {found} of {design.name}")


def _rig(file: Path) -> None:
    for one in read_situations(file):
        require_sound(one.rig, resolve_design("cap"))


def _designs(file: Path) -> None:
    for design in read_designs(file):
        require_sound(_usual_rig(), design)


@cache
def _usual_rig() -> Rig:
    return find_rig("humbucker-500k")


def _take(file: Path) -> None:
    take = read_recording(file, trim=True, longest_s=2.0)
    require(np.isfinite(take.samples).all(), "samples that are no numbers")
    require(take.samples.nbytes < 2**26, f"{take.samples.nbytes} bytes of it are held")
    assert take.flaws is not None


def _expression(text: str) -> None:
    with contextlib.suppress(InputError), warnings.catch_warnings():
        warnings.simplefilter("error")
        require_sound(_usual_rig(), resolve_design(text))


def _command(words: list[str]) -> None:
    """A command line, in a folder with a few files to name."""
    with in_scratch() as scratch:
        for name, content in _files().items():
            (scratch / name).write_bytes(content)
        before = {path.name for path in scratch.iterdir()}
        status, out, err = _ran(words)
        after = {path.name for path in scratch.iterdir()}
        lines = err.splitlines()
        require(status in (0, 2, 3, 130), f"exit status {status}: {err[-300:]}")
        require(
            all(len(one) <= LONGEST_LINE for one in lines),
            f"a long line: {max(lines, key=len, default='')}",
        )
        require("Traceback" not in err and "Warning" not in err, err[-500:])
        if "-v" in words or "--verbose" in words:
            lines = [one for one in lines if not one.startswith(_TOLD_BY_V)]
        if status == 2:
            require(
                len(lines) == 1
                and lines[0].startswith(("presolder: ", '{"schema": 1, "error": "')),
                f"{len(lines)} lines: {err[:500]}",
            )
            require(after == before, f"left behind: {after - before}")
        if "--json" in words and status == 0:
            require(not re.search(r"\b(NaN|Infinity)\b", out), "a number that is none, in JSON")
        require(not any(name.startswith(".") for name in after), f"scratch left: {after}")


def _ran(words: list[str]) -> tuple[int, str, str]:
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    kept = sys.argv, sys.stdin, os.environ.copy(), warnings.filters[:]
    # No rig of one's own is to be read, or written.
    os.environ["XDG_CONFIG_HOME"] = str(Path.cwd() / "config")
    sys.argv, sys.stdin = ["presolder", *words], io.TextIOWrapper(io.BytesIO())
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = run()
    except SystemExit as end:
        status = end.code if isinstance(end.code, int) else 1
    finally:
        sys.argv, sys.stdin = kept[:2]
        os.environ.clear()
        os.environ.update(kept[2])
        warnings.filters[:] = kept[3]
    texts = [one.buffer.getvalue().decode("utf-8", "replace") for one in (out, err)]  # type: ignore[attr-defined]
    return status, texts[0], texts[1]


# ---- what goes in -----------------------------------------------------------------------


@st.composite
def spoilt_text(draw: st.DrawFn, seeds: tuple[str, ...]) -> bytes:
    """A good text, of which words and lines are swapped, doubled, left out or made hostile."""
    text = draw(st.sampled_from(seeds))
    words = re.findall(r"\w+|\s+|[^\w\s]", text)
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, max(len(words) - 1, 0)))
        match draw(st.integers(0, 5)):
            case 0:
                words[at : at + 1] = [draw(st.sampled_from(HOSTILE))]
            case 1:
                words.insert(at, draw(st.sampled_from(HOSTILE)))
            case 2:
                del words[at : at + draw(st.integers(1, 8))]
            case 3:
                words[at:at] = words[at : at + draw(st.integers(1, 30))]
            case 4:
                other = draw(st.integers(0, max(len(words) - 1, 0)))
                if words:
                    words[at], words[other] = words[other], words[at]
            case _:
                words.insert(at, draw(st.text(max_size=4)))
        words = words or [""]
    spoilt = "".join(words).encode("utf-8", "surrogatepass")
    return draw(
        st.sampled_from([spoilt, spoilt, spoilt, spoilt[: len(spoilt) // 2], b"\xff" + spoilt])
    )


@st.composite
def spoilt_bytes(draw: st.DrawFn, seeds: tuple[bytes, ...]) -> bytes:
    """A good file, of which bytes, and above all those of its head, are others."""
    content = bytearray(draw(st.sampled_from(seeds)))
    for _ in range(draw(st.integers(1, 5))):
        end = len(content) if draw(st.booleans()) else min(64, len(content))
        at = draw(st.integers(0, max(end - 1, 0)))
        match draw(st.integers(0, 4)):
            case 0:
                content[at : at + 4] = draw(st.sampled_from(
                    [b"\xff\xff\xff\xff", b"\0\0\0\0", b"\xff\xff\xff\x7f", b"\0\0\0\x80", b"\1\0\0\0"]
                ))  # fmt: skip
            case 1:
                content[at : at + 1] = bytes([draw(st.integers(0, 255))])
            case 2:
                del content[at:]
            case 3:
                content[at:at] = draw(st.binary(max_size=8))
            case _:
                content[at : at + 8] = np.float64(draw(st.floats())).tobytes()
    return bytes(content)


@cache
def _audio() -> tuple[bytes, ...]:
    """A third of a second in every format that is read."""
    samples, rate = soundfile.read(SAMPLES / "phrase.flac", stop=16_000)
    made = []
    for kind, subtype in (
        ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("WAV", "DOUBLE"), ("FLAC", "PCM_16"), ("AIFF", "PCM_16"),
        ("AU", "PCM_16"), ("W64", "PCM_16"), ("RF64", "PCM_16"), ("OGG", "VORBIS"),
        ("MP3", "MPEG_LAYER_III"), ("CAF", "PCM_16"),
    ):  # fmt: skip
        buffer = io.BytesIO()
        soundfile.write(buffer, samples, rate, format=kind, subtype=subtype)
        made.append(buffer.getvalue())
    return tuple(made)


_GESTURE = "time_s,dial\n0,10\n0.2,4.5\n0.4,0\n"
_TAPER = "rotation,fraction\n0,0\n0.5,0.12\n1,1\n"
_SPECTRUM = "frequency_hz,gain_db\n" + "".join(
    f"{hz},{-hz / 1e4}\n" for hz in range(100, 9000, 400)
)
_PEDALS = tuple(file.read_text("utf-8") for file in sorted(PEDALS.glob("*.cir")))
_STOCK = "type,value,count,tolerance,price\nresistor,68k,4,1 %,0.1\ncapacitor,1n,2,5 %,0.2\n"
_TURN = "dial,level_db\n10,0\n8,-6\n5,-20\n2,-40\n"
_DESIGNS = (
    '[[design]]\nname = "mine"\nnetwork = "68k + 1n5"\n',
    '[[design]]\nname = "a"\ntitle = "b"\nnetwork = { series = ["33k", { parallel = ["110k", "680p"] }] }\n',
    '[[design]]\nname = "two"\nnetwork = "gang(500k, audio, full) || 390p"\n',
)
_JOBS = (
    '[[job]]\ncommand = "render"\nrigs = ["single-coil-250k"]\ntakes = ["take.wav"]\n'
    'designs = ["cap"]\noptions = { travel = 1.0, rest = 0.1 }\n',
    '[[job]]\ncommand = "need"\nname = "year"\nrigs = ["humbucker-500k", "rig.toml"]\n'
    'options = { json = true, dial = "8,6" }\n',
)
_EXPRESSIONS = (
    "68k + 1n5",
    "33k + (110k || 680p)",
    "gang(500k, audio, full) || 390p",
    "150p",
    "cap",
    "bare",
)


@cache
def _rigs() -> tuple[str, ...]:
    return tuple(path.read_text("utf-8") for path in built_in_rigs().values())


@cache
def _files() -> dict[str, bytes]:
    """What command lines name."""
    return {
        "take.wav": _audio()[0], "take.flac": _audio()[3], "cut.wav": _audio()[0][:3000],
        "rig.toml": _rigs()[0].encode(), "bad.toml": b"[volume]\nresistance = 1e-300\n",
        "designs.toml": _DESIGNS[0].encode(), "gesture.csv": _GESTURE.encode(),
        "taper.csv": _TAPER.encode(), "response.csv": _SPECTRUM.encode(), "stock.csv": _STOCK.encode(),
        "turn.csv": _TURN.encode(), "jobs.toml": _JOBS[1].encode(), "empty": b"", "junk": b"\0\xff" * 99,
    }  # fmt: skip


_WORDS = (
    "take.wav", "take.flac", "cut.wav", "rig.toml", "bad.toml", "designs.toml", "gesture.csv",
    "taper.csv", "response.csv", "response.csv@470p", "stock.csv", "turn.csv", "jobs.toml", "empty",
    "junk", "none-such", ".", "out", "out.zip", "out.html", "out.csv", "out.svg", "out.png", "-",
    "cap", "bare", "68k + 1n5", "humbucker-500k", "single-coil-250k", "piezo-buffered", "plain",
    "8", "8,6,4", "0.2", "1", "10=take.wav", "7=96k", "10=480k", "5=72k", "3=30k", "6900", "3100",
    "470p", "8.2k", "1M", "2900@cable", "E6", "E12", "taper", "tone", "full", "swells", "15 ft",
    "halfway at 5", "usable from 3 to 30", "smooth", "germanium-fuzz", "rig.toml=cap", "capacitor=5",
    "humbucker-500k=68k + 1n5", "100:5000:7", "A500K", "10k:100k", "470p:2n2",
)  # fmt: skip
_TOLD_BY_V = ("presolder: presolder ", "presolder: took ")
# What keeps a command that goes well from taking long.
_SHORT = {
    "render": ("--travel", "0.1", "--rest", "0", "--design", "cap"), "demo": ("--hum-db", "nan"),
    "pack": ("--design", "none-such"), "tailor": ("--top", "0"), "travel": ("--top", "0"),
    "cleanup": ("--design", "cap"), "export": ("--design", "cap", "--hold", "5"), "compare": ("--design", "cap"), "batch": ("--cluster", "x"),
}  # fmt: skip


@st.composite
def command_lines(draw: st.DrawFn) -> list[str]:
    """A command with some of its options, each with something fit or unfit."""
    name = draw(st.sampled_from([*SUMMARIES, "none-such", "--version"]))
    command = cli.get_command(click.Context(cli), name) if name in SUMMARIES else None
    words = [name]
    if command is None:
        return words
    given = st.one_of(st.sampled_from(_WORDS), st.sampled_from(HOSTILE), st.text(max_size=6))
    options = [one for one in command.params if isinstance(one, click.Option)]
    for option in draw(st.lists(st.sampled_from(options), max_size=5)):
        words.append(option.opts[0])
        if not option.is_flag:
            fit = option.type.choices if isinstance(option.type, click.Choice) else None
            words.append(draw(st.one_of(st.sampled_from(tuple(fit)), given) if fit else given))
    for argument in command.params:
        if isinstance(argument, click.Argument) and draw(st.integers(0, 9)):
            words.append(draw(given))
    if draw(st.integers(0, 19)):
        words += _SHORT.get(name, ())
    # No file may be named that is not in the scratch folder.
    return ["x" if "/" in word or word.startswith("..") else word for word in words]


# ---- the face ---------------------------------------------------------------------------

_TONE = np.sin(np.arange(9600) * 0.05) * 0.2
# Of a fitting kind, or nearly.
_GOOD: dict[str, tuple[Any, ...]] = {
    "take": ((_TONE, 48_000), (_TONE.reshape(-1, 1), 44_100.0), "none-such.wav", (_TONE, 0)),
    "samples": (_TONE, _TONE[None], np.stack([_TONE, -_TONE]), (_TONE * 3e4).astype(np.int16)),
    "sample_rate_hz": (48_000, np.int32(96_000), 44_100.0),
    "rig": ("humbucker-500k", "none-such"), "name_or_path": ("piezo-buffered",),
    "designs": ("cap", ["cap", "bare"], ("68k + 1n5",), []), "design": ("cap", "33k + (110k || 680p)"),
    "path": (KnobPath((0.0, 0.1), (10.0, 5.0)),), "dirt": ("smooth", None, "none-such"),
    "dials": (8, [8, 6.5], (7,), np.array([9.0, 3.0])), "dial": (5, [1, 10]), "hz": (500, [100.0, 3e3]),
    "shown_at": (8, [8, 6.5]),
    "speaker": (None, "plain"), "hum_db": (None, -60), "kind": ("diodes", "ordinary"), "drive": (10,),
    "start": (10,), "stop": (0,), "travel": (0.1,), "rest": (0,), "points": ([(0, 10), (0.2, 5)],),
    "text": ("halfway at 5", "10k"), "metres": (4.5,), "readings": ([],), "responses": ([],),
    "resistance_ohms": (8e3,), "bare_hz": (6900,), "loaded_hz": (3100,), "added_farads": (470e-12,),
    "ohms": ({10: 96e3, 5: 20e3, 0.0: 8e3}, {}), "meter_error": (0.01,), "fitted": ("bare",),
    "wiring": ("lug",), "jobs": ([("humbucker-500k", "cap")], []), "stock": (None,), "name": ("phrase",),
    "takes": ({10: (_TONE, 48_000), 6.0: (_TONE, 48_000)}, {}), "answers": ({"pickup": "single-coil"},),
    "judging": (Judging("swells"), Judging(left_at=[8, 4], tone_weight=0.5), Judging("full", take=(_TONE, 48_000))),
    "title": ("mine",), "captured": ("jack", "string", None), "seed": (1,), "draws": (10,),
}  # fmt: skip
_ODD = (
    None, True, 0, -1, 3, 1e309, float("nan"), 10**30, "", "x", b"x", "8", (), [], [None], [[]], {}, {1: 2},
    {"a": "b"}, set(), object(), np.array(3.0), np.zeros((0, 3)), np.zeros((2, 2, 2)), np.array(["a"]),
    np.array([1 + 2j]), np.full(9600, np.nan), np.ones(9600, bool), np.arange(9600), [_TONE, _TONE[:5]],
    (_TONE,), (_TONE, None), (_TONE, 48_000, 1), lambda: 3, Path(), 1j, np.float32(5.0), np.int64(7),
)  # fmt: skip
_FACE = (
    "Take", "render", "need", "compare", "curves", "response", "response_db", "builds", "rig", "design",
    "designs", "dirt", "turn", "gesture", "read", "sample", "situations", "starter", "stock", "turn_wanted",
    "cable_by_length", "cable_from_readings", "cable_from_responses", "coil_from_readings",
    "coil_from_responses", "taper_at_jack", "taper_at_lugs", "order", "sheet", "verify", "cleanup",
)  # fmt: skip
# What is only quick with these.
_BRIEF: dict[str, dict[str, Any]] = {
    "render": {"designs": ["cap"], "path": KnobPath((0.0, 0.1), (10.0, 5.0))}, "compare": {"designs": "cap"},
    "curves": {"designs": "cap"}, "builds": {"draws": 10}, "sheet": {"design": "cap"},
    "cleanup": {"designs": "cap", "dials": [8.0], "take": (_TONE, 48_000)},
}  # fmt: skip


@st.composite
def face_calls(draw: st.DrawFn) -> tuple[str, dict[str, Any]]:
    """A function of the face, with arguments of which some are of no kind that it takes."""
    name = draw(st.sampled_from(_FACE))
    given = dict(_BRIEF.get(name, {}))
    for argument, about in inspect.signature(getattr(ps, name)).parameters.items():
        if argument in ("progress", "as_given"):
            continue
        fit = st.sampled_from(_GOOD.get(argument, (None,)))
        if argument == "judging" and draw(st.integers(0, 3)) == 0:
            field = draw(st.sampled_from(list(vars(Judging()))))
            given[argument] = Judging(**{field: draw(st.sampled_from(_ODD))})
        elif about.default is inspect.Parameter.empty:
            given[argument] = draw(st.one_of(fit, fit, st.sampled_from(_ODD)))
        elif draw(st.integers(0, 3)) == 0:
            given[argument] = draw(st.one_of(fit, st.sampled_from(_ODD)))
    return name, given


def _face(call: tuple[str, dict[str, Any]]) -> None:
    name, given = call
    with in_scratch(), warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.simplefilter("ignore", OddValueWarning)
        try:
            made = getattr(ps, name)(**given)
        except InputError as error:
            require(str(error).strip() and "\n" not in str(error), "an error that is not one line")
            return
        if name == "render":
            require(all(np.isfinite(audio).all() for audio in made.values()), "sound that is none")


TARGETS = {
    "face": Target(face_calls(), _face, 12),
    "rig": Target(spoilt_text(_rigs()), reading(_rig, ".toml"), 16),
    "designs": Target(spoilt_text(_DESIGNS), reading(_designs, ".toml"), 16),
    "jobs": Target(spoilt_text(_JOBS), reading(read_jobs, ".toml"), 10),
    "gesture": Target(spoilt_text((_GESTURE,)), reading(read_gesture, ".csv"), 8),
    "taper": Target(
        spoilt_text((_TAPER,)), reading(lambda f: read_points(f, ("rotation", "fraction")), ".csv"), 6
    ),
    "spectrum": Target(
        spoilt_text((_SPECTRUM,)),
        reading(lambda f: read_spectrum(f, ("frequency_hz", "gain_db")), ".csv"), 6,
    ),
    "pedal": Target(spoilt_text(_PEDALS), reading(read_dirt_file, ".cir"), 12),
    "stock": Target(spoilt_text((_STOCK,)), reading(read_stock, ".csv"), 8),
    "turn": Target(
        spoilt_text((_TURN, *("halfway at 5", "usable from 3 to 30"))),
        reading(lambda f: (read_wanted(str(f)), read_wanted(f.read_text("utf-8", "replace"))), ".csv"), 6,
    ),
    "take": Target(spoilt_bytes(_audio()), reading(_take, ".wav"), 12),
    "impulse": Target(
        spoilt_bytes(_audio()), reading(lambda f: load_speaker(str(f), 48_000), ".wav"), 5
    ),
    "expression": Target(
        spoilt_text(_EXPRESSIONS).map(lambda one: one.decode("utf-8", "replace")), _expression, 6
    ),
    "command": Target(command_lines(), _command, 1),
}  # fmt: skip
