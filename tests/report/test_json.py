"""JSON of the commands that make and list things; the deciding ones have tests of their own."""

import json
import re
from pathlib import Path

import click
import pytest
from tiers import some

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import BUILT_IN
from presolder.render.cli import SUMMARIES, cli
from presolder.render.files.rig_file import built_in_rigs
from presolder.render.report.rigs import rig_plain
from running import in_process
from takes import DOCS, SAMPLES

TAKE = str(SAMPLES / "phrase.flac")


def test_every_command_has_json_and_its_schema_is_documented() -> None:
    page = (DOCS / "json.md").read_text("utf-8")
    for name in SUMMARIES:
        command = cli.get_command(click.Context(cli), name)
        assert command is not None
        options = [text for p in command.params if isinstance(p, click.Option) for text in p.opts]
        assert "--json" in options, name
        assert f"`presolder {name} --json`" in page, name


def test_lists() -> None:
    rigs = json.loads(in_process("rigs", "--json"))["rigs"]
    assert [rig["name"] for rig in rigs] == list(built_in_rigs())
    designs = json.loads(in_process("designs", "--json"))["designs"]
    assert [design["name"] for design in designs] == [design.name for design in BUILT_IN]


def test_render_prints_its_manifest(tmp_path: Path) -> None:
    out = tmp_path / "out"
    turn = ("--travel", "0.2", "--rest", "0.1", "--design", "bare")
    printed = in_process("render", TAKE, *turn, "--json", "--out", str(out))
    assert json.loads(printed) == {"schema": 1} | json.loads((out / "manifest.json").read_text())


@pytest.mark.slow
def test_pack_prints_its_contents(tmp_path: Path) -> None:
    out = tmp_path / "out"
    options = ("--design", "150p", "--hold", "5", "--travel", "1", "--light")
    printed = in_process("pack", TAKE, *options, "--json", "--out", str(out))
    assert json.loads(printed) == {"schema": 1} | json.loads((out / "pack.json").read_text())


@pytest.mark.slow
@pytest.mark.parametrize("rig_name", some(built_in_rigs(), "humbucker-500k".__eq__))
def test_cleanup_on_every_rig(rig_name: str) -> None:
    result = json.loads(in_process("cleanup", "--rig", rig_name, "--design", "cap", "--json"))
    assert (result["rig"], result["dirt"]["kind"]) == (rig_name, "smooth")
    with pytest.raises(InputError, match="--dirt none has nothing to clean up"):
        in_process("cleanup", "--rig", rig_name, "--dirt", "none")


@pytest.mark.slow
def test_cleanup() -> None:
    result = json.loads(in_process("cleanup", "--dirt", "smooth", "--design", "bare", "--json"))
    (design,) = result["designs"]
    assert len(design["thd_percent"]) == len(design["dials"]) == 100
    assert design["clean_below_3_percent_dial"] == pytest.approx(
        next(
            dial
            for dial, thd in zip(design["dials"], design["thd_percent"], strict=True)
            if thd > 3
        ),
        abs=0.2,
    )


@pytest.mark.slow
def test_documented_keys_are_the_keys() -> None:
    """Every top-level key that the page names for a command is there, and no other."""
    page = (DOCS / "json.md").read_text("utf-8")
    for name, options in (
        ("need", ()),
        ("compare", ("--design", "cap")),
        ("curves", ("--design", "cap", "--frequency", "500")),
        ("tailor", ("--topology", "cap")),
        ("sheet", ()),
        (
            "pickup",
            ("--resistance", "8k", "--bare-hz", "6000", "--loaded-hz", "3000", "--added", "470p"),
        ),
        ("cleanup", ("--dirt", "smooth", "--design", "cap")),
        ("designs", ()),
        ("rigs", ()),
    ):
        section = page.split(f"`presolder {name} --json`")[1].split("\n## ")[0]
        keys: set[str] = set()
        for row in re.findall(r"^\| (`.*?) \|", section, re.MULTILINE):
            keys |= set(re.findall(r"`(\w+)`", row))
        # What is nested has a row of its own in the page, under a key that is there.
        result = json.loads(in_process(name, *options, "--json"))
        assert result.pop("schema") == 1
        assert set(result) <= keys, (name, set(result) - keys)
        assert keys - set(result) <= {"tolerance"}, (name, keys - set(result))


SWITCHED = ("--rig", "split-humbucker")
READINGS = [
    word
    for dial in range(1, 11)
    for option, ohms in (("--ohms", 5030 * dial**2), ("--second", 4871 * dial**2.01))
    for word in (option, f"{dial}={ohms:.0f}")
]
# As docs/json.md has it: what every number's key means, and the decimals it is rounded to.
DIGITS = {
    "need": {"_db": 4, "_phon": 4, "_acum": 4, "resonance_hz": 1},
    "compare": {"_db": 4, "_phon": 4, "_acum": 4},
    "tailor": {"_db": 4, "_phon": 4, "_acum": 4},
    "curves": {"_db": 4, "_share": 4, "_deg": 4, "frequency_hz": 6},
    "cleanup": {"_percent": 4, "_dial": 4, "_db": 4, "edge_left_db": 2, "unevenness_db": 2},
    "taper": {"fraction": 4, "fraction_error": 4, "track_ohms": 1, "off_law": 3, "apart": 4},
    "pickup": {"_error": 3, "unloaded_resonance_hz": 1},
    "travel": {"_db": 4},
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(
    ("command", "runs"),
    [
        ("need", ((), SWITCHED)),
        ("compare", (("--design", "cap"), (*SWITCHED, "--design", "cap", "--design", "series"))),
        pytest.param(
            "tailor", (("--topology", "series", "--series", "E6"),
                       (*SWITCHED, "--topology", "series", "--series", "E6")),
            marks=pytest.mark.thorough,
        ),
        ("curves", (("--design", "68k + 1n5", "--frequency", "500,1234.5678912", "--tolerance",
                     "--draws", "20"),)),
        ("cleanup", (("--dirt", "smooth", "--design", "cap"),)),
        ("taper", (("--lugs", *READINGS),)),
        ("pickup", (("--resistance", "8k", "--bare-hz", "6000", "--loaded-hz", "3000", "--added",
                     "470p"),)),
        ("travel", (("--wanted", "halfway at 5", "--pot", "A500K", "--topology", "series", "--top",
                     "2"),)),
    ],
)  # fmt: skip
def test_numbers_are_rounded_as_documented(command: str, runs: tuple[tuple[str, ...], ...]) -> None:
    """Not to more, and not to less: of several numbers one has its last decimal."""
    most: dict[str, int] = {}

    def look(value: object, key: str) -> None:
        if isinstance(value, dict):
            for name, one in value.items():
                # Percentiles are of what they stand under.
                look(one, key if name in ("p5", "p50", "p95") else name)
        elif isinstance(value, list):
            for one in value:
                look(one, key)
        elif isinstance(value, float) and value and "e" not in repr(value):
            decimals = len(repr(value).rpartition(".")[2]) if value % 1 else 0
            most[key] = max(most.get(key, 0), decimals)

    for options in runs:
        look(json.loads(in_process(command, *options, "--json")), "")
    # What was given; and what is nothing here.
    for key in ("listening_level_db", "touch_db", "drive_db", "equal_db", "gives_up_db"):
        most.pop(key, None)
    rules = DIGITS[command]
    ruled = {key: [end for end in rules if key.endswith(end)] for key in most}
    wanted = {key: rules[max(ends, key=len)] for key, ends in ruled.items() if ends}
    assert {key: most[key] for key in wanted} == wanted
    assert {end for ends in ruled.values() for end in ends} == set(rules)


def test_what_a_rigs_json_says_of_its_take() -> None:
    """Of a take at the jack the chain as it stood; of one from the string nothing."""
    for rig in ps.rigs():
        said = rig_plain(ps.rig(rig))["take"]
        stood = ps.rig(rig).take.rig
        assert (said["cable_farads"] is None) == (stood is None), rig
        if stood is not None:
            assert said["cable_farads"] == stood.cable_farads
            assert said["input_ohms"] == stood.load.resistance_ohms
            tone = stood.nearest_tone
            assert said["tone_dial"] == (None if tone is None else tone.dial)
