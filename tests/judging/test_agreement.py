"""No verdict contradicts a rank, no command another, and none the trade, over a grid of rigs."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from trade_grid import COUNT, advised, broken_rules, grid, is_series

import presolder as ps
from ears import ear_of
from presolder.models.hearing.change import change
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.dirt import AnyKind, dirt_of
from presolder.models.instrument.player import PLAYING, Playing
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.ranking import EQUAL_DB
from presolder.models.typing import ComplexArray
from running import in_process

RIGS = grid()
assert len(RIGS) == COUNT
MOVING: tuple[Playing, ...] = tuple(plays for plays in PLAYING if plays != "full")


def holds(rigs: list[Rig]) -> float:
    """No rule is broken, and into 1M the series pair is what comes first, where anything does.

    In how many of the cases into 1M something does.
    """
    series = fitted = 0
    for rig in rigs:
        for plays in MOVING:
            found = advised(rig, plays)
            assert broken_rules(rig, plays, found) == [], (rig.name, plays)
            if rig.name.endswith("into 1M") and found.first is not found.bare:
                fitted += 1
                series += is_series(found.first)
    assert series >= 0.7 * fitted
    return fitted / (len(MOVING) * sum(rig.name.endswith("into 1M") for rig in rigs))


@pytest.mark.slow
def test_advice_is_what_a_good_bench_would_give() -> None:
    holds(RIGS[5::100])


@pytest.mark.thorough
def test_advice_on_all_of_the_grid() -> None:
    """200 rigs, 3 ways of playing."""
    assert 0.5 < holds(RIGS) < 0.8


@pytest.mark.thorough
def test_the_knob_at_ten_needs_nothing() -> None:
    for rig in RIGS[::40]:
        assert broken_rules(rig, "full", advised(rig, "full")) == []
        assert advised(rig, "full").verdict == "no"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("at", "plays", "dirt"),
    [
        (4, "rolls-back", None),
        *(
            pytest.param(*case, marks=pytest.mark.thorough)
            for case in (
                (58, "cleans-up-dirt", None), (21, "rolls-back", "germanium-fuzz"), (37, "swells", None), (130, "swells", None), (80, "cleans-up-dirt", "smooth"), (190, "rolls-back", None),
            )
        ),
    ],
)  # fmt: skip
def test_the_commands_say_the_same(
    at: int, plays: Playing, dirt: AnyKind | None, tmp_path: Path
) -> None:
    """need, compare, sheet, tailor, cleanup and a pack's page on one guitar."""
    rig = replace(RIGS[at], name="grid", dirt=None if dirt is None else dirt_of(dirt))
    judging = ps.Judging(plays)
    told, compared = ps.need(rig, judging), ps.compare(rig, judging=judging)
    first, bare = compared.ranked[0], told.found[0].bare
    assert told.ranked[0].design == first.design == told.found[0].first.design
    sheet = ps.sheet(rig, judging=judging)
    assert sheet.design == first.design
    assert (sheet.plain()["orders"] == []) == (first.design.network is None)
    # One sentence, word for word.
    sentence = told.plain()["situations"][0]["said"]
    assert sheet.plain()["said"] == [" ".join(sentence)]
    assert " ".join(sentence) in " ".join("\n".join(sheet.lines()).split())
    searched = ps.tailor(rig, judging).found
    assert searched.bare_comes_first == (first.design.network is None)
    if first.design.network is not None:
        assert searched.ahead_of_bare_db >= EQUAL_DB - 1e-6
        # The search has what comes first, or what is not audibly behind it.
        assert searched.best[0].judged.score_db < first.score_db + EQUAL_DB
    elif told.verdict != "no":
        assert any(one.helps for one in told.found[0].remedies) == ("dB nearer)" in sentence[-1])
    if plays == "cleans-up-dirt" or dirt is not None:
        names = [one.design for one in compared.ranked if one.heard == "dirt"]
        cleaned = ps.cleanup(rig, names)
        if plays == "cleans-up-dirt":
            assert cleaned.designs[cleaned.order[0]] == first.design
            scores = {one.design: one.score_db for one in cleaned.scored}
            for one in compared.ranked:
                if one.heard == "dirt":
                    assert scores[one.design] == pytest.approx(one.score_db, abs=1e-6)
    else:
        contents = ps.Contents(single_file=True, recordings=False)
        out = tmp_path / "page.html"
        ps.pack(out, ps.sample("phrase"), rig, ["bare", "cap"], contents, judging)
        verdict = f"{told.verdict.capitalize()}:"
        assert verdict in out.read_text("utf-8")
    assert bare.design.network is None


@pytest.mark.thorough
def test_no_command_knows_what_another_denies() -> None:
    """Where built-in designs are no better than the bare pot, what the search finds is told."""
    words = in_process("need", "--rig", "single-coil-250k")
    told = json.loads(in_process("compare", "--rig", "single-coil-250k", "--json"))
    names = [one["design"] for one in told["designs"]]
    built_in = {design.name for design in built_in_designs()}
    assert names[0] not in built_in and names[0] in words
    assert f"{names[0]} comes first" in in_process("compare", "--rig", "single-coil-250k")
    found = json.loads(in_process("tailor", "--rig", "single-coil-250k", "--json"))
    assert found["first"] == names[0]


@pytest.mark.thorough
@pytest.mark.parametrize("at", [0, 60, 120])
def test_a_fixed_gain_of_the_take_changes_nothing(at: int) -> None:
    take = ps.sample("phrase")
    loud, soft = (
        ps.compare(
            RIGS[at], ["cap", "series"], ps.Judging(take=replace(take, samples=g * take.samples))
        )
        for g in (1.0, 0.01)
    )
    for one, other in zip(loud.ranked, soft.ranked, strict=True):
        assert one.design == other.design
        assert one.score_db == pytest.approx(other.score_db, abs=1e-6)


@pytest.mark.thorough
def test_most_built_in_designs_sound_unlike(rigs: dict[str, Rig]) -> None:
    """At some dial from 8 to 4, by tone at equal loudness or by loudness level."""
    for name in ("humbucker-500k", "single-coil-250k", "dark-long-cable"):
        ear = ear_of(rigs[name])
        designs = built_in_designs(ear.rig)
        dials = np.array([8.0, 7.0, 6.0, 5.0, 4.0])
        responses = [ear.response(design.network, dials) for design in designs]
        unlike, pairs = 0, 0
        for i, one in enumerate(responses):
            for other in responses[i + 1 :]:
                pairs += 1
                unlike += _unlike(ear, one, other)
        assert unlike / pairs > 0.85, name


def _unlike(ear: Ear, one: ComplexArray, other: ComplexArray) -> bool:
    sound, heard = ear.listen(other), ear.listen(one)
    moved = change(heard.third_octave_db, sound)
    return bool(moved.noticed.any() or np.abs(heard.phon - sound.phon).max() >= 1.0)
