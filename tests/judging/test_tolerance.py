"""Draws of straying parts against what can be worked out by hand."""

import json
from pathlib import Path

import numpy as np
import pytest
from tiers import some

from ears import ear_of
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Pickup, Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import character
from presolder.models.judging.tolerance import (
    Spread,
    draw_builds,
    heard_ends,
    straying_parts,
    tighter_capacitor,
)
from presolder.render.files.rig_file import built_in_rigs, find_rig
from presolder.render.plots.style import spread_apart
from rigs import single
from running import in_process

IDEAL = single(Pickup(1e-2, 1e-6), Pot(500e3, Taper("linear")))
DIALS = np.array([2.0, 5.0, 8.0])


@pytest.mark.slow
def test_shares_by_hand() -> None:
    """Ideal source, track R, Rb across its upper part: the level depends on R / Rb alone.

    So both parts move the level alike per percent, and the shares stand as the
    squares of their spreads.
    """
    spread = Spread(pot=0.03, resistor=0.01)
    result = draw_builds(IDEAL, parse_expression("250k"), DIALS, spread, draws=4000)
    assert [part.kind for part in result.parts] == ["pot", "cable", "resistor"]
    assert result.level_share == pytest.approx([0.9, 0.0, 0.1], abs=0.015)


@pytest.mark.slow
def test_band_by_hand() -> None:
    """A uniform draw of one part: percentiles 5 and 95 stand at nine tenths of its limits."""
    spread = Spread(pot=0.0, resistor=0.05)
    result = draw_builds(IDEAL, parse_expression("250k"), DIALS, spread, draws=4000)
    for row, factor in ((0, 1.045), (1, 1.0), (2, 0.955)):
        edge = character(IDEAL, parse_expression(f"{250 * factor:g}k"), DIALS)
        assert result.level_db[row] == pytest.approx(edge.level_db, abs=0.01)


def test_a_part_drawn_larger_is_larger() -> None:
    """One build by hand, of each part's even draw in the order in which they are told."""
    rig = single(Pickup(8e3, 4.0), Pot(500e3, Taper("linear")), cable=500e-12)
    spread = Spread(pot=0.2, resistor=0.05, cable=0.2)
    pot, cable, resistor = np.random.default_rng(3).uniform(-1, 1, 3) * [0.2, 0.2, 0.05]
    built = single(
        Pickup(8e3, 4.0), Pot(500e3 * (1 + pot), Taper("linear")), cable=500e-12 * (1 + cable)
    )
    wanted = character(built, parse_expression(f"{250 * (1 + resistor):.9f}k"), DIALS)
    plain = character(rig, parse_expression("250k"), DIALS)
    drawn = draw_builds(rig, parse_expression("250k"), DIALS, spread, draws=1, seed=3)
    assert drawn.level_db[1] == pytest.approx(wanted.level_db, abs=1e-6)
    assert drawn.treble_db[1] == pytest.approx(wanted.treble_db, abs=1e-6)
    assert np.abs(drawn.treble_db[1] - plain.treble_db).max() > 0.05


def test_same_seed_same_builds_and_no_spread_no_band() -> None:
    rig, network = find_rig("humbucker-500k"), parse_expression("270k + 390p")
    first, again, other = (
        draw_builds(rig, network, DIALS, draws=30, seed=seed).treble_db for seed in (1, 1, 2)
    )
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
    still = draw_builds(rig, network, DIALS, Spread(0, 0, 0, 0, 0), draws=10)
    assert np.ptp(still.treble_db, axis=0).max() < 1e-12
    assert not still.treble_share.any()


def test_what_ears_notice_of_each_part() -> None:
    """A part that the sound does not depend on is never noticed; more spread is noticed more."""
    ear = ear_of(find_rig("humbucker-500k"))
    network = parse_expression("470p")
    parts = straying_parts(ear.rig, network, Spread())
    heard = dict(
        zip((p.name for p in parts), heard_ends(ear, network, DIALS, Spread()), strict=True)
    )
    wide = heard_ends(ear, network, DIALS, Spread(capacitor=0.4))
    assert heard["470p"] < 1.0 < wide[-1]
    ideal = ear_of(IDEAL)
    cable = heard_ends(ideal, parse_expression("250k"), DIALS, Spread())[1]
    assert cable == pytest.approx(0.0, abs=1e-6)


def test_a_tighter_capacitor_is_worth_it_only_if_heard() -> None:
    ear = ear_of(find_rig("humbucker-500k"))
    fine = tighter_capacitor(ear, parse_expression("150p"), DIALS, Spread())
    assert fine is not None and not fine.worth_it and fine.now_db < 1.0
    coarse = tighter_capacitor(ear, parse_expression("220p"), DIALS, Spread(capacitor=0.5))
    assert coarse is not None and coarse.now_db > 1.0 and coarse.worth_it
    assert tighter_capacitor(ear, parse_expression("220k"), DIALS, Spread()) is None
    assert tighter_capacitor(ear, parse_expression("1n"), DIALS, Spread(capacitor=0.05)) is None


@pytest.mark.parametrize(
    "rig_name", some(built_in_rigs(), {"humbucker-500k", "two-pickups"}.__contains__)
)
def test_command_on_every_rig(rig_name: str) -> None:
    options = ("--rig", rig_name, "--tolerance", "--draws", "40", "--design",
               "gang(500k, linear, zero) + 390p")  # fmt: skip
    result = json.loads(in_process("curves", *options, "--frequency", "1000", "--json"))
    (design,) = result["designs"]
    drawn = design["tolerance"]
    names = [part["part"] for part in drawn["parts"]]
    # Another pot and its bypass stray by themselves; the cable is one.
    knob = ["volume pot", "taper midpoint", "gang 500k", "390p"]
    others = {
        "two-pickups": [f"second {name}" for name in knob],
        "two-pickups-independent": [f"second {name}" for name in knob],
        "bass-two-pickups": [f"second {name}" for name in knob],
        "hollow-body-blend": ["first volume pot", "second volume pot"],
        "piezo-buffered": ["pedal volume pot", "pedal taper midpoint"],
    }.get(rig_name, [])
    assert sorted(names) == sorted([*knob, "cable", *others])
    for i, _ in enumerate(result["dials"]):
        assert (
            drawn["level_db"]["p5"][i] <= drawn["level_db"]["p50"][i] <= drawn["level_db"]["p95"][i]
        )


def test_table_says_what_matters() -> None:
    text = in_process("curves", "--design", "cap", "--tolerance", "--draws", "200", "--show", "7,4")
    assert "what makes two builds differ" in text
    assert "taper midpoint" in text
    assert "The spread of the capacitor is not heard" in text


@pytest.mark.slow
def test_plain_table_and_plot(tmp_path: Path) -> None:
    text = in_process("curves", "--design", "bare", "--design", "cap", "--show", "10,5,0")
    assert text.splitlines()[1].split() == ["at", "10", "at", "5"]
    assert len(text.splitlines()) == 10
    for ending in ("svg", "png"):
        options = ("--tolerance", "--draws", "20", "--show", "7,3")
        in_process("curves", "--design", "cap", *options, "--plot", str(tmp_path / f"c.{ending}"))
    picture = (tmp_path / "c.svg").read_text()
    for words in ("level at 500 Hz", "treble, 2-4 kHz", "response at 7", "response at 3", "cap"):
        assert words in picture
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.slow
def test_names_are_not_read_as_formulas(tmp_path: Path) -> None:
    """A dollar sign starts a formula for the plotting library."""
    designs = tmp_path / "designs.toml"
    designs.write_text('[[design]]\nname = "5$ \\\\frac$"\nnetwork = "150p"\n')
    for command, options in (("curves", ("--show", "5")), ("cleanup", ("--dirt", "smooth"))):
        picture = tmp_path / f"{command}.svg"
        in_process(command, "--designs", str(designs), *options, "--plot", str(picture))
        assert "5$ \\frac$" in picture.read_text()


def test_labels_keep_their_distance() -> None:
    heights = spread_apart([0.0, 0.1, 0.2, 9.9, 9.95], 1.0, 10.0)
    assert np.diff(heights).min() > 1.0 - 1e-9
    assert heights[-1] <= 10.0


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--spread", "pot=3"), "--spread pot=3 needs --tolerance"),
        (("--tolerance", "--spread", "knob=3"), "KIND of pot, midpoint, resistor"),
        (("--tolerance", "--spread", "pot=much"), "must be KIND=PERCENT"),
        (("--tolerance", "--spread", "pot=120"), "--spread: pot = 120 % must lie between"),
        (("--draws", "1"), "--draws 1 must lie between 10 and 100000"),
        (("--seed", "-1"), "--seed -1 must be 0 or more"),
        (("--show", "0"), "--show 0 is silent"),
        (("--plot", "x.pdf"), "--plot 'x.pdf' must end in .png or .svg"),
        (("--plot", "x.svg", "--show", "1,2,3,4,5,6,7"), "at most 6 --show positions, got 7"),
    ],
)
def test_nonsense(options: tuple[str, ...], says: str) -> None:
    with pytest.raises(InputError) as caught:
        in_process("curves", *options)
    assert says in str(caught.value)


def test_what_strays_and_how_far(humbucker: Rig) -> None:
    """A gang as a pot does, 20 %; resistors 5, capacitors 10 (common practice, no source)."""
    network = parse_expression("gang(500k, audio) || (91k + 1n)")
    found = [
        (part.name, part.kind, part.spread) for part in straying_parts(humbucker, network, Spread())
    ]
    assert found == [
        ("volume pot", "pot", 0.20),
        ("taper midpoint", "midpoint", 0.05),
        ("cable", "cable", 0.20),
        ("gang 500k", "pot", 0.20),
        ("91k", "resistor", 0.05),
        ("1n", "capacitor", 0.10),
    ]


def test_a_tighter_capacitor_strays_half_as_far(humbucker: Rig) -> None:
    """Of 10 and 5 %; what ears make of it is next to proportional."""
    ear, dials = ear_of(humbucker), np.array([8.0, 6.0, 4.0])
    found = tighter_capacitor(ear, parse_expression("1n"), dials, Spread())
    assert found is not None
    assert found.then_db / found.now_db == pytest.approx(0.5, abs=0.06)
    # Of several dials and both ends of the spread it is the worst, whichever others there are.
    alone = [tighter_capacitor(ear, parse_expression("1n"), dials[[i]], Spread()) for i in range(3)]
    worst = [one.now_db for one in alone if one is not None]
    assert found.now_db == pytest.approx(max(worst))
    assert max(worst) > 1.2 * min(worst)
    # And of two capacitors that which matters.
    both = tighter_capacitor(ear, parse_expression("1n || (1M + 22p)"), dials, Spread())
    assert (
        both is not None and both.now_db > 0.8 * found.now_db and both.then_db > 0.8 * found.then_db
    )
    assert tighter_capacitor(ear, parse_expression("1n"), dials, Spread(capacitor=0.05)) is None
    assert tighter_capacitor(ear, parse_expression("91k"), dials, Spread()) is None
