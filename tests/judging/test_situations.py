"""One bypass for all situations of a guitar: weights, the worst case, the search."""

import json
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from ears import ear_of, ears_of
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Capacitor, Design, Parallel, Resistor, Series
from presolder.models.instrument.preferred import preferred_values
from presolder.models.judging.ear import Ear, shares
from presolder.models.judging.merit import merit
from presolder.models.judging.ranking import EQUAL_DB, Scored, all_scored, score
from presolder.models.judging.recommendation import recommend
from presolder.models.judging.search import Shelf, tailor
from presolder.render.files.rig_file import find_rig, find_situations
from presolder.render.plots import plot_front
from presolder.render.report.advice import named
from presolder.render.report.figures import Comparison
from running import in_process

SMALL = Shelf(
    tuple(Resistor(v) for v in preferred_values("E6", 15e3, 680e3)),
    tuple(Capacitor(v) for v in preferred_values("E6", 100e-12, 4.7e-9)),
    (),
)
RIGS = ("three-single-coils", "split-humbucker")


def heard_in(name: str) -> tuple[Ear, ...]:
    return ears_of(find_situations(name))


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("name", "kind"),
    [(RIGS[0], Series), pytest.param(RIGS[1], Parallel, marks=pytest.mark.thorough)],
)
def test_search_finds_what_trying_everything_finds(name: str, kind: type) -> None:
    """Each of 11 x 11 designs judged in full in every situation, by itself; weights by hand."""
    heard = heard_in(name)
    weights = [one.weight for one in heard]
    tried = []
    for resistor, capacitor in product(SMALL.resistors, SMALL.capacitors):
        network = kind((resistor, capacitor))
        each, spoilt = [], False
        for one in heard:
            its = merit(one, network)
            spoilt |= bool(its.spoilt)
            each.append(float(score(its.taper_phon, its.tone_db, one.conditions.tone_weight)))
        if not spoilt:
            mean = sum(w * s for w, s in zip(weights, each, strict=True)) / sum(weights)
            tried.append((mean, each))
    found = tailor(heard, (kind((Resistor(1.0), Capacitor(1.0))),), SMALL)
    best = min(tried)
    its = found[0]
    assert float(np.dot(weights, its.scores_db) / sum(weights)) == pytest.approx(best[0], abs=1e-6)
    assert its.scores_db == pytest.approx(best[1], abs=1e-5)
    # What each situation would have by itself is among what was judged.
    for at in range(len(heard)):
        own = min(one.scores_db[at] for one in found if not one.spoilt)
        assert own == pytest.approx(min(each[at] for _, each in tried), abs=0.05)


def test_weights_decide() -> None:
    """A situation that counts for all but nothing gets what it wants; equal ones share."""
    two = heard_in("three-single-coils")
    neck, fuzz = two[2], two[3]
    shape = (Series((Resistor(1.0), Capacitor(1.0))),)
    both = [one for one in tailor((neck, fuzz), shape, SMALL) if not one.spoilt]
    alone = [min(both, key=lambda one: one.scores_db[at]).network for at in (0, 1)]
    assert alone[0] != alone[1]
    for heavy, wanted in zip((0, 1), alone, strict=True):
        weights = [1e-6, 1e-6]
        weights[heavy] = 1.0
        heard = tuple(
            replace(one, weight=weight) for one, weight in zip((neck, fuzz), weights, strict=True)
        )
        assert tailor(heard, shape, SMALL)[0].network == wanted
    assert shares(two) == pytest.approx([3 / 7, 2 / 7, 1 / 7, 1 / 7])


def test_one_situation_is_the_plain_search() -> None:
    ear = ear_of(find_rig("humbucker-500k"))
    shape = (Series((Resistor(1.0), Capacitor(1.0))),)
    once, twice = (
        tailor(
            tuple(replace(ear, situation=str(n), weight=0.5) for n in range(count)), shape, SMALL
        )
        for count in (1, 2)
    )
    assert [one.network for one in once[:20]] == [one.network for one in twice[:20]]


@pytest.mark.thorough
def test_recommendation_says_what_is_given_up() -> None:
    heard = heard_in("three-single-coils")
    shapes = (Series((Resistor(1.0), Capacitor(1.0))), Capacitor(1.0))
    found = recommend(heard, shapes, SMALL)
    first = found.best[0].judged
    lost = found.gives_up_db
    for at, its_db in enumerate(first.scores_db):
        # Of what leaves the knob one in all of them.
        alone = min(its.scores_db[at] for its in tailor(heard, shapes, SMALL) if not its.spoilt)
        assert its_db - alone == pytest.approx(lost[at], abs=1e-9)
    assert first.worst == int(np.argmax(first.scores_db))
    bare = all_scored(heard, (Design("bare", None),))[0]
    assert found.bare_comes_first == (bare.score_db - first.score_db < EQUAL_DB)


@pytest.mark.thorough
def test_commands_take_all_situations_or_one() -> None:
    name = "split-humbucker"
    everywhere = json.loads(in_process("compare", "--rig", name, "--json"))
    names = [one["name"] for one in everywhere["situations"]]
    weights = np.array([one["weight"] for one in everywhere["situations"]])
    assert names == [one.name for one in find_situations(name)]
    for at, place in enumerate(names):
        alone = json.loads(in_process("compare", "--rig", name, "--in", place, "--json"))
        there = {one["design"]: one for one in alone["designs"]}
        assert [one["name"] for one in alone["situations"]] == [place]
        for design in everywhere["designs"]:
            # Where another pickup is on, built-in designs have other values.
            if there.get(design["design"], {}).get("expression", "") == design["expression"]:
                its = there[design["design"]]["situations"][place]
                assert design["situations"][place] == its, at
    for design in everywhere["designs"]:
        each = [design["situations"][place]["score_db"] for place in names]
        # The mean over guitars like this one is not far from this one's own.
        assert design["score_db"] == pytest.approx(weights @ each / weights.sum(), abs=1.2)
        assert design["worst_in"] == names[int(np.argmax(each))]
    needed = json.loads(in_process("need", "--rig", name, "--json"))
    for place in needed["situations"]:
        alone = json.loads(in_process("need", "--rig", name, "--in", place["name"], "--json"))
        assert place["bare"] == alone["situations"][0]["bare"]
        assert (place["needed"], place["first"]) == (alone["needed"], alone["first"])


@pytest.mark.slow
def test_where_the_bare_pot_is_nearer_is_said() -> None:
    """By scores put in by hand: nearer by the least that counts, by less, and further away."""
    heard = (*heard_in("split-humbucker"), *heard_in("split-humbucker"))[:3]
    designs = built_in_designs(heard[0].rig)[:2]
    judged = all_scored(heard, designs)
    bare = next(one for one in judged if one.design.network is None)
    first = next(one for one in judged if one is not bare)

    def with_scores(one: Scored, total: float, scores: tuple[float, ...]) -> Scored:
        drawn = np.full((3, 100), total)
        return replace(one, drawn_db=drawn, bare_drawn_db=drawn + 1.0, scores_db=scores)

    first = with_scores(first, 1.0, (2.0 + EQUAL_DB, 1.0, 3.0))
    bare = with_scores(bare, 4.25, (2.0, 1.0 - 0.9 * EQUAL_DB, 9.0))
    said = Comparison(heard, (first, bare)).said()
    assert said == (
        f"{named(first.design)} comes first, 3.2 dB nearer than the bare pot, all situations"
        f" weighed, on 100 of 100 guitars like yours. The bare pot is nearer in: {heard[0].name}"
        f" ({EQUAL_DB:.1f} dB)."
    )
    assert "Nothing here is audibly nearer" in Comparison(heard, (bare, first)).said()


@pytest.mark.thorough
def test_search_and_comparison_agree() -> None:
    """What the one says of a design in a situation, the other says as well."""
    options = ("--rig", "split-humbucker", "--topology", "series", "--series", "E6")
    found = json.loads(in_process("tailor", *options, "--json"))
    best = found["best"][0]
    asked = ("--rig", "split-humbucker", "--design", best["expression"], "--design", "bare")
    compared = json.loads(in_process("compare", *asked, "--json"))
    its = next(one for one in compared["designs"] if one["expression"] == best["expression"])
    assert its["score_db"] == best["score_db"]
    first = compared["designs"][0]["design"]
    assert first == ("bare" if found["first"] == "bare" else best["expression"])
    text = in_process("tailor", *options)
    for place in found["situations"]:
        assert place["name"] in text
        assert ("nothing to be heard" in text) or place["gives_up_db"] >= EQUAL_DB


@pytest.mark.thorough
def test_a_plot_of_several_situations(tmp_path: Path) -> None:
    """Of one that is counted twice it is the plot of that one."""
    ear = ear_of(find_rig("humbucker-500k"))
    shapes, drawn = (Capacitor(1.0),), []
    for count in (1, 2):
        ears = (ear,) * count
        figure = tmp_path / f"{count}.svg"
        plot_front(figure, ears, recommend(ears, shapes, SMALL))
        drawn.append(figure.read_text())
    assert drawn[0] == drawn[1]


def test_weights_have_limits() -> None:
    rig = find_rig("humbucker-500k")
    for weight in (0.0, -1.0, 1e4, float("nan")):
        with pytest.raises(InputError, match="weight = .* must lie above 0"):
            Situation("x", rig, weight)
    assert len(built_in_designs(rig)) > 5
