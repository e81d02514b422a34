"""A rig to begin with, and which rig is meant where none is named."""

import json
import tomllib
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.starter import (
    ALL_QUESTIONS,
    KIND_QUESTION,
    PICKUP_KINDS,
    QUESTIONS,
    typical,
)
from presolder.render.cli import cli
from presolder.render.files.rig_file import built_in_rigs, find_rig, read_rig
from running import in_process, presolder_here


def asked(tmp_path: Path, *answers: str) -> tuple[str, Path]:
    out = tmp_path / "asked.toml"
    lines = "".join(f"{answer}\n" for answer in answers)
    result = CliRunner().invoke(
        cli, ["init", "--out", str(out)], input=lines, catch_exceptions=False
    )
    assert result.exit_code == 0, result.output
    return result.output, out


def test_questions_are_explained_and_what_is_not_known_is_marked(tmp_path: Path) -> None:
    """A slip is asked about again; the pot's marking answers for its taper; no tone, no more."""
    said, out = asked(
        tmp_path, "Single", "1", "6k1", "3.6 mH", "2.6 H", "don't know", "", "B250K", "none",
        "15 ft", "?", "1meg", "swells",
    )  # fmt: skip
    assert "did you mean 3.6 H?" in said
    for question in ALL_QUESTIONS:
        skipped = question.key in (
            "volume.taper", "volume.midpoint", "tone.capacitance", "tone.wiring", "switch",
        )  # fmt: skip
        assert (question.explains in said) != skipped
    rig = read_rig(out)
    assert rig.first.pickup.inductance_henries == 2.6
    assert rig.first.volume.taper.kind == "linear"
    assert rig.first.tone is None
    assert rig.cable_farads == pytest.approx(15 * 0.3048 * 100e-12)
    assert rig.player.plays == "swells"
    text = out.read_text("utf-8")
    marked = [line.split(" =")[0] for line in text.splitlines() if "not known" in line]
    assert marked == ["capacitance", "eddy", "picofarads_per_m"]
    assert "presolder pickup measures it" in text


@pytest.mark.parametrize("kind", PICKUP_KINDS)
def test_typical_guitars_are_rigs(kind: str, tmp_path: Path) -> None:
    out = tmp_path / "t.toml"
    options = ("--typical", "--pickup", kind, "--out", str(out), "--json")
    result = json.loads(in_process("init", *options))
    assert result["file"] == str(out)
    assert set(result["not_known"]) == {question.key for question in QUESTIONS}
    assert result["toml"] == out.read_text("utf-8")
    assert read_rig(out).title == result["title"]


@pytest.mark.parametrize("name", list(built_in_rigs()))
def test_from_a_built_in_rig(name: str, tmp_path: Path) -> None:
    """Everything it has stays, second pickup and all; what is given changes."""
    out = tmp_path / "copy.toml"
    source = tomllib.loads(built_in_rigs()[name].read_text())
    coil = ("--inductance", "5.1 H") if "pickup" in source else ()
    in_process("init", "--like", name, *coil, "--title", "mine", "--out", str(out))
    table = tomllib.loads(out.read_text())
    if coil:
        assert table["pickup"].pop("inductance") == "5.1 H"
        source["pickup"].pop("inductance")
    assert table.pop("title") == "mine"
    source.pop("title")
    assert table == source
    assert f"as {name} has it" in out.read_text()
    assert find_rig(str(out)).title == "mine"
    told = json.loads(in_process("init", "--like", name, "--out", str(tmp_path / "b"), "--json"))
    assert (told["from"], told["title"]) == (name, name)
    assert told["toml"] == (tmp_path / "b").read_text()
    named = ("--title", "yours", "--out", str(tmp_path / "c"), "--json")
    assert json.loads(in_process("init", "--like", name, *named))["title"] == "yours"


def test_what_a_copy_changes_and_takes_away(tmp_path: Path) -> None:
    """A marking brings its law; a length in one unit replaces one in another; none is none."""
    out = tmp_path / "copy.toml"
    changes = ("--volume", "B250K", "--tone", "none", "--cable-length", "20 ft")
    in_process("init", "--like", "humbucker-500k", *changes, "--out", str(out))
    table = tomllib.loads(out.read_text())
    assert table["volume"] == {"resistance": "B250K", "taper": "linear"}
    assert "tone" not in table
    assert table["cable"] == {"picofarads_per_m": 105, "length": "20 ft"}
    rig = find_rig(str(out))
    assert (rig.volume.resistance_ohms, rig.volume.taper.kind, rig.tone) == (250e3, "linear", None)
    assert rig.cable_farads == pytest.approx(20 * 0.3048 * 105e-12)
    # Remarks stand beside what was taken over, and only there.
    for line in out.read_text().splitlines():
        if "=" in line and not line.startswith("title"):
            key = line.partition(" =")[0]
            assert ("# as humbucker-500k has it" in line) == (
                key not in ("taper", "length") and "B250K" not in line
            ), line


def test_rig_files_are_printed_as_they_are() -> None:
    for name, path in built_in_rigs().items():
        assert in_process("rigs", name, "--toml").strip() == path.read_text("utf-8").strip()
    assert len(json.loads(in_process("rigs", "two-pickups", "--json"))["rigs"]) == 1


def test_nothing_is_overwritten_and_nothing_unusable_is_written(tmp_path: Path) -> None:
    out = tmp_path / "x.toml"
    out.write_text("mine")
    for options, says in (
        (("--typical", "--out", out), "exists"),
        (("--typical", "--volume", "500", "--out", tmp_path / "y.toml"), "--volume: 500 Ω cannot"),
        (("--typical", "--pickup", "lute", "--out", tmp_path / "y.toml"), "must be one of"),
        (
            ("--like", "humbucker-500k", "--volume", "B500K", "--taper", "log",
             "--out", tmp_path / "y.toml"),
            "says linear",
        ),
        (("--like", "no-such-rig", "--out", tmp_path / "y.toml"), "nearest"),
    ):  # fmt: skip
        done = presolder_here("init", *options)
        assert done.returncode == 2 and says in done.stderr
        assert len(done.stderr.splitlines()) == 1
    assert out.read_text() == "mine"
    assert not (tmp_path / "y.toml").exists()
    done = presolder_here(
        "init", "--typical", "--volume", "500", "--as-given", "--out", tmp_path / "y.toml"
    )
    assert done.returncode == 0


def test_default_rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By option, else by the environment, else one's own file, else built in; always said."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    curves = ("curves", "--design", "bare", "--json")

    def used(*options: str) -> tuple[str, str]:
        done = presolder_here(*curves, *options)
        return json.loads(done.stdout)["rig"], done.stderr

    name, note = used()
    assert name == "humbucker-500k" and "built-in default" in note
    presolder_here("init", "--typical", "--own", "--title", "mine")
    assert (Path(click.get_app_dir("presolder")) / "rig.toml").exists()
    name, note = used()
    assert name == "rig" and "your own for all commands" in note
    monkeypatch.setenv("PRESOLDER_RIG", "single-coil-250k")
    name, note = used()
    assert name == "single-coil-250k" and "from PRESOLDER_RIG" in note
    assert used("--rig", "two-pickups") == ("two-pickups", "")


def test_one_rig_at_a_time() -> None:
    done = presolder_here("compare", "--rig", "humbucker-500k", "--rig", "two-pickups")
    assert done.returncode == 2
    assert "--rig is given 2 times, humbucker-500k and two-pickups; give one" in done.stderr


@pytest.mark.thorough
def test_every_output_says_which_rig_it_is_for() -> None:
    """On standard output, and in JSON."""
    for command in (
        ("need",), ("compare",), ("curves", "--design", "bare"), ("cleanup", "--design", "bare"),
        ("sheet", "--design", "150p"), ("tailor", "--topology", "cap"),
    ):  # fmt: skip
        words = in_process(*command, "--rig", "single-coil-250k")
        assert "single-coil-250k" in words, command
        assert "single-coil-250k" in in_process(*command, "--rig", "single-coil-250k", "--json")


@pytest.mark.parametrize(
    ("key", "good", "bad"),
    [
        ("pickup.resistance", ("8k2", "8.2 kΩ"), ("0", "-8k", "many")),
        ("volume.resistance", ("A500K", "B250k"), ("500", "x500k")),
        ("volume.taper", ("A", "linear", "mine.CSV"), ("spoon", "mine.txt")),
        ("volume.midpoint", ("0.15", "0,15"), ("0", "1", "1.5", "half", "nan")),
        ("cable.length", ("6 m", "20 ft"), ("0 m", "6 miles")),
    ],
)
def test_answers(key: str, good: tuple[str, ...], bad: tuple[str, ...]) -> None:
    (question,) = (one for one in QUESTIONS if one.key == key)
    for answer in good:
        assert question.read(answer)[1] == ""
    for answer in bad:
        with pytest.raises(InputError):
            question.read(answer)


@pytest.mark.parametrize(
    ("key", "said", "written"),
    [
        ("volume.midpoint", "15 %", "0.15"),
        ("volume.midpoint", ".15", "0.15"),
        ("cable.picofarads_per_m", "100 pF/m", "100"),
        ("cable.picofarads_per_m", "30 pF/ft", "98.4252"),
        ("cable.picofarads_per_m", ".9e2", "90"),
        ("cable.picofarads_per_m", "090", "90"),
        ("input.resistance", "inf", "inf"),
        ("input.resistance", "1M ohm", "1M ohm"),
        ("input.resistance", "3", "10k"),
        ("input.resistance", "amp", "1M"),
        ("player.plays", "Rolls Back", "rolls-back"),
        ("player.plays", "4", "cleans-up-dirt"),
        ("pickup", "SINGLE-COIL", "single-coil"),
        ("pickup", "h", "humbucker"),
        ("tone.resistance", "None", "none"),
    ],
)
def test_answers_as_people_give_them(key: str, said: str, written: str, tmp_path: Path) -> None:
    """By number, prefix or any case, in everyday units; what comes of it is a rig file."""
    (question,) = (one for one in ALL_QUESTIONS if one.key == key)
    assert question.written(said) == written
    out = tmp_path / "rig.toml"
    out.write_text(ps.starter({key: said}).toml)
    read_rig(out)


def test_several_pickups_and_a_switch(tmp_path: Path) -> None:
    for given, positions in (
        ({"pickups": "2"}, ["neck", "both", "bridge"]),
        ({"pickups": "3", "switch": "three"}, ["neck", "middle", "bridge"]),
        (
            {"pickups": "3"},
            ["neck", "neck and middle", "middle", "middle and bridge", "bridge"],
        ),
    ):
        out = tmp_path / "rig.toml"
        out.write_text(ps.starter({"pickup": "single-coil", **given}).toml)
        assert [one.name for one in ps.situations(out)] == positions
    with pytest.raises(InputError, match="switch needs pickups"):
        ps.starter({"switch": "five-way"})
    with pytest.raises(InputError, match="does not go with 2 pickups"):
        ps.starter({"pickups": "2", "switch": "five-way"})


def test_back_to_the_last_question_and_a_doubtful_value_asked_again(tmp_path: Path) -> None:
    """An odd value is kept where it is given twice."""
    out = tmp_path / "asked.toml"
    answers = ("humbucker", "1", "8k", "4 H", "<", "<", "7k", "14.9 H", "14.9 H", *["?"] * 12)
    done = CliRunner().invoke(
        cli, ["init", "--out", str(out)], input="\n".join(answers), catch_exceptions=False
    )
    assert done.exit_code == 0, done.output
    text = out.read_text()
    assert 'resistance = "7k"' in text and 'inductance = "14.9 H"' in text
    out.unlink()
    # Once is not enough.
    once = CliRunner().invoke(
        cli, ["init", "--out", str(out)],
        input="\n".join(("humbucker", "1", "120", "8k", *["?"] * 13)), catch_exceptions=False,
    )  # fmt: skip
    assert "did you mean" in once.output and 'resistance = "8k"' in out.read_text()


def test_no_answer_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever stops goes on with --resume; the questions are counted; kept ones go at the end."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    out = tmp_path / "asked.toml"
    left = presolder_here("init", "--out", out, answers="2\n1\n6k1\n")
    assert left.returncode == 130
    assert "stopped at question 4; 'presolder init --resume' goes on" in left.stderr
    assert not out.exists()
    went_on = presolder_here("init", "--resume", "--out", out, answers="?\n" * 14)
    assert went_on.returncode == 0 and "1 of 13" in went_on.stderr
    rig = read_rig(out)
    assert rig.first.pickup.resistance_ohms == 6100
    assert rig.first.volume.resistance_ohms == 250e3
    again = presolder_here("init", "--resume", "--out", tmp_path / "b.toml")
    assert again.returncode == 2 and "no answers are kept" in again.stderr


def test_a_copy_does_not_keep_a_title_that_is_no_longer_true(tmp_path: Path) -> None:
    out = tmp_path / "copy.toml"
    in_process("init", "--like", "humbucker-500k", "--cable-length", "20 ft", "--out", str(out))
    assert "5.5 m" not in find_rig(str(out)).title
    assert "cable length" in find_rig(str(out)).title


def test_the_commonest_kind_is_assumed() -> None:
    assert typical(KIND_QUESTION, "") == "humbucker"
    (inductance,) = (one for one in QUESTIONS if one.key == "pickup.inductance")
    assert typical(inductance, "of no kind") == typical(inductance, "humbucker")
    assert typical(inductance, "of no kind") != typical(inductance, "single-coil")
