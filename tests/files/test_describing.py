"""Reading values, expressions, tapers, rig and design files; and what is refused."""

from pathlib import Path

import numpy as np
import pytest

from presolder.models.audio.knob import KnobPath, steady_turn
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import BUILT_IN, for_rig
from presolder.models.instrument.controls import Load, Pickup
from presolder.models.instrument.dirt import AnyDirt, Dirt
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper, fraction_below_wiper
from presolder.models.instrument.network import (
    Capacitor,
    Gang,
    Network,
    Parallel,
    Resistor,
    Series,
    format_network,
)
from presolder.models.instrument.placement import placed_parts
from presolder.models.instrument.quantities import Unit, format_code, parse_quantity
from presolder.models.instrument.stage import Stage
from presolder.render.files.designs import read_designs, resolve_design
from presolder.render.files.points import read_gesture
from presolder.render.files.rig_file import built_in_rigs, find_rig, read_rig

MINIMAL = """
[pickup]
resistance = "8k"
inductance = "4.5 H"
[volume]
resistance = "500k"
"""


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("4.5 H", "henry", 4.5),
        ("2400 mH", "henry", 2.4),
        ("500 pF", "farad", 500e-12),
        ("8 kΩ", "ohm", 8e3),
        ("22e-9", "farad", 22e-9),
        (8200, "ohm", 8200.0),
        (0, "farad", 0.0),
    ],
)
def test_si_values(text: object, unit: Unit, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-15)


def test_joints_are_named_from_left_to_right() -> None:
    network = parse_expression("(10k + 1n + 22k) || (47k + 2n2)")
    placed = [(part.name, part.start, part.end) for part in placed_parts(network)]
    assert placed == [
        ("R1", "input lug", "joint A"), ("C1", "joint A", "joint B"), ("R2", "joint B", "wiper lug"),
        ("R3", "input lug", "joint C"), ("C2", "joint C", "wiper lug"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("value", "unit", "code"),
    [
        (8200.0, "ohm", "8k2"), (0.15, "ohm", "0R15"), (999.9, "ohm", "999R9"), (1e3, "ohm", "1k"),
        (2.5e12, "ohm", "2500G"), (3.3e-13, "farad", "0p33"), (2.2e-8, "farad", "22n"),
        (2e-17, "farad", "0p00002"), (2.5e-17, "farad", "0p000025"), (2.5e3, "farad", "2500F"),
    ],
)  # fmt: skip
def test_codes_read_back(value: float, unit: Unit, code: str) -> None:
    """IEC 60062: the multiplier's letter stands for the decimal sign, and there is no other."""
    assert format_code(value, unit) == code
    assert parse_quantity(code, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("text", ["8x2", "4.7 H", "", "k", "1e400", True, None, [1], "nan", "--1"])
def test_values_that_are_none(text: object) -> None:
    with pytest.raises(InputError, match="write for example|finite"):
        parse_quantity(text, "ohm")


@pytest.mark.parametrize(
    ("text", "network"),
    [
        ("91k || 820p", Parallel((Resistor(91e3), Capacitor(820e-12)))),
        ("68k+1n5", Series((Resistor(68e3), Capacitor(1.5e-9)))),
        (
            "33k + (110k ∥ 680p)",
            Series((Resistor(33e3), Parallel((Resistor(110e3), Capacitor(680e-12))))),
        ),
        ("((1M))", Resistor(1e6)),
        ("500 pF", Capacitor(500e-12)),
        ("gang(250k, linear, zero)", Gang(250e3, Taper("linear"), "zero")),
        ("gang(100k, audio, full, 0.2)", Gang(100e3, Taper("audio", 0.2), "full")),
    ],
)
def test_expressions(text: str, network: Network) -> None:
    assert parse_expression(text) == network
    assert parse_expression(format_network(network)) == network


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("91k || ", 8),
        ("91k & 820p", 5),
        ("91k || 8x2", 8),
        ("91k + 820p || 1n", 12),
        ("(91k + 820p", 12),
        ("91k)", 4),
        ("gang(250k, bent, zero)", 1),
        ("1n || gang(250k, audio, zero, 0.1, 5)", 7),
        # At the joint after the sixteenth part.
        ("+".join(["1k"] * 17), 48),
        ("100", 1),
        ("0R + 1n", 1),
        ("-5k || 1n", 1),
    ],
)
def test_bad_expressions_point_at_the_column(text: str, column: int) -> None:
    with pytest.raises(InputError, match=rf"column {column}:"):
        parse_expression(text)


def test_taper_laws_pass_through_their_points() -> None:
    dials = np.array([0.0, 2.5, 5.0, 7.5, 10.0])
    for kind, middle in (
        ("linear", 0.5),
        ("audio", 0.2),
        ("reverse-audio", 0.8),
        ("two-slope", 0.2),
    ):
        law = fraction_below_wiper(Taper(kind, 0.2), dials)  # type: ignore[arg-type]
        assert law[0] == 0.0
        assert law[-1] == 1.0
        assert law[2] == pytest.approx(middle)
    # The two-slope law a quarter of the way is half its midpoint.
    assert fraction_below_wiper(Taper("two-slope", 0.2), 2.5) == pytest.approx(0.1)


def test_measured_taper_is_monotone_and_keeps_its_points() -> None:
    points = ((1.0, 0.01), (5.0, 0.12), (6.0, 0.5), (9.0, 0.52))
    law = Taper("measured", points=points)
    assert fraction_below_wiper(law, [1.0, 5.0, 6.0, 9.0]) == pytest.approx([0.01, 0.12, 0.5, 0.52])
    assert np.all(np.diff(fraction_below_wiper(law, np.linspace(0, 10, 1001))) >= 0)
    assert fraction_below_wiper(law, [0.0, 10.0]).tolist() == [0.0, 1.0]


@pytest.mark.parametrize(
    "points",
    [
        ((1.0, 0.5),),
        ((5.0, 0.5), (4.0, 0.6)),
        ((4.0, 0.6), (5.0, 0.5)),
        ((3.0, 0.2), (4.0, 0.6), (5.0, 0.5)),
        ((3.0, 0.2), (5.0, 0.3), (4.0, 0.4)),
        ((4.0, 0.1), (4.0, 0.5)),
        ((0.0, 0.1), (5.0, 0.5)),
        ((5.0, 0.5), (10.0, 0.9)),
        ((5.0, 0.5), (6.0, 1.1)),
        ((5.0, -0.1), (6.0, 0.5)),
        ((-1.0, 0.0), (6.0, 1.0)),
        ((4.0, 0.5), (11.0, 1.0)),
        ((5.0, float("nan")), (6.0, 0.7)),
        ((5.0, 0.5), (float("nan"), 0.7)),
    ],
)
def test_unusable_measured_tapers(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(InputError, match="measured taper"):
        Taper("measured", points=points)


def test_built_in_rigs_and_designs_can_all_be_named() -> None:
    assert len(built_in_rigs()) == 12
    for name in built_in_rigs():
        assert find_rig(name).name == name
    for design in BUILT_IN:
        assert resolve_design(design.name) is design


def test_rig_file_with_everything(tmp_path: Path) -> None:
    (tmp_path / "law.csv").write_text("dial,fraction\n2,0.05\n5,0.2\n8,0.6\n")
    file = tmp_path / "full.toml"
    file.write_text(
        MINIMAL
        + 'taper = "law.csv"\n[tone]\nresistance = "250k"\ncapacitance = "22n"\nwiring = "fifties"\n'
        '[cable]\nlength_m = 5.0\npicofarads_per_m = 100\n[input]\nresistance = "1M"\n'
        '[take]\ncable = "300p"\ninput_resistance = "10M"\ntone_dial = 7\ndesign = "cap"\n'
    )
    rig = read_rig(file)
    assert rig.cable_farads == pytest.approx(500e-12)
    assert rig.first.volume.taper.kind == "measured"
    assert rig.first.tone is not None
    assert rig.first.tone.wiring == "fifties"
    assert rig.take.network == for_rig(resolve_design("cap"), rig).network


@pytest.mark.parametrize(
    ("addition", "message"),
    [
        ("resistence = 1", r"\[volume\]: unknown key 'resistence'; nearest valid key: resistance"),
        ("[tonez]", "unknown key 'tonez'; nearest valid key: tone"),
        ("midpoint = 1.5", r"\[volume\]: midpoint = 1.5 must lie between"),
        ('taper = "bent"', "taper = 'bent': must be one of linear, audio"),
        ('[cable]\ncapacitance = "-5p"', "out of range|not a value"),
        ("[cable]\ncapacitance = -5e-12", "out of range"),
        ("[input]\nresistance = 0", r"\[input\]: resistance = 0 ohm is out of range"),
        (
            '[tone]\nresistance = "1M"\ncapacitance = 1e-8\ndial = 11',
            "dial = 11 must lie between 0",
        ),
        ('[take]\ncaptured = "air"', "must be one of jack, string"),
        ("[take]\nvolume_dial = 0", "silence"),
        ("[take]\ntone_dial = 5", "has no"),
        ("[[[", "not valid TOML"),
        ("[dirt]", r"\[dirt\]: .*kind"),
        ('[dirt]\nkind = "smooth"\ndrive = "much"', r"\[dirt\] drive = 'much': must be a number"),
        ('[dirt]\nkind = "smooth"\ndrive = true', r"\[dirt\] drive = True: must be a number"),
        ('[dirt]\nkind = "smooth"\nfuzz = 1', r"\[dirt\]: unknown key 'fuzz'"),
        ('[dirt]\nkind = "diode-clipper"\nbias = 1', r"\[dirt\]: unknown key 'bias'"),
        ('[dirt]\nkind = "diode-clipper"\nfuzz = 1', r"\[dirt\]: unknown key 'fuzz'"),
        ('[dirt]\nkind = "treble-booster"\ngain = 1', r"\[dirt\]: unknown key 'gain'"),
    ],
)
def test_rig_file_errors_name_the_place(tmp_path: Path, addition: str, message: str) -> None:
    file = tmp_path / "bad.toml"
    file.write_text(MINIMAL + addition + "\n")
    with pytest.raises(InputError, match=message) as caught:
        read_rig(file)
    assert str(caught.value).startswith(str(file))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("section", "dirt"),
    [
        (
            'kind = "lopsided"\ndrive = 20\npre_hz = 100\npost_hz = 3000\nlevel_db = -2',
            Dirt("lopsided", 20.0, 100.0, 3000.0, -2.0),
        ),
        (
            'kind = "germanium-fuzz"\nfuzz = 0.7\nbias = 1.1\nsupply = 8.5\nbattery = "470R"\n'
            "touch_db = -3\nlevel_db = 2",
            Stage("germanium-fuzz", 0.7, 1.1, 8.5, 470.0, -3.0, 2.0),
        ),
        ('kind = "diode-clipper"\ngain = 0.3', Stage("diode-clipper", 0.3)),
        ('kind = "treble-booster"\nbattery = 100', Stage("treble-booster", battery_ohms=100.0)),
    ],
)
def test_dirt_is_part_of_the_rig(tmp_path: Path, section: str, dirt: AnyDirt) -> None:
    file = tmp_path / "own.toml"
    file.write_text(f"{built_in_rigs()['humbucker-500k'].read_text()}\n[dirt]\n{section}\n")
    assert read_rig(file).dirt == dirt


def test_what_a_file_leaves_out_is_as_its_page_says(tmp_path: Path) -> None:
    """Every default of docs/rig-format.md, and that a cable, a load and a take need none."""
    file = tmp_path / "own.toml"
    file.write_text(
        '[pickup]\nresistance = "7k"\ninductance = "3 H"\n'
        '[volume]\nresistance = "500k"\n'
        '[tone]\nresistance = "500k"\ncapacitance = "22n"\n'
        '[buffer]\nat = "cable"\n[pedal]\nresistance = "25k"\n[dirt]\nkind = "smooth"\n'
    )
    rig = read_rig(file)
    assert rig.first.pickup == Pickup(7e3, 3.0)
    assert (rig.first.pickup.capacitance_farads, rig.first.pickup.leakage_henries) == (0, 0)
    assert rig.volume_wiring == "lug" and rig.volume.taper == Taper("audio", 0.15)
    tone = rig.first.tone
    assert tone is not None and tone.pot.taper.kind == "audio"
    assert (tone.dial, tone.wiring, tone.no_load) == (10.0, "modern", False)
    buffer = rig.buffer
    assert buffer is not None and buffer.gain_db == 0
    assert (buffer.input_ohms, buffer.input_farads, buffer.output_ohms) == (1e6, 0.0, 1e3)
    pedal = rig.pedal
    assert pedal is not None and pedal.cable_farads == 0 and pedal.volume.held_at == 10
    assert rig.cable_farads == 0 and rig.load == Load()
    assert rig.load.resistance_ohms == np.inf and rig.load.capacitance_farads == 0
    assert rig.dirt == Dirt("smooth", 20.0, 120.0, 5500.0, 0.0)
    assert rig.take.captured == "jack" and rig.take.string is None
    file.write_text(file.read_text().replace('kind = "smooth"', 'kind = "silicon-fuzz"'))
    assert read_rig(file).dirt == Stage("silicon-fuzz", 10.0, 5.0, 9.0, 50.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("section", "key", "least", "most"),
    [
        ('[dirt]\nkind = "smooth"', "drive", 0, 60),
        ('[dirt]\nkind = "smooth"', "pre_hz", 1, 2000),
        ('[dirt]\nkind = "smooth"', "post_hz", 1000, 20_000),
        ('[dirt]\nkind = "smooth"', "level_db", -60, 60),
        ('[dirt]\nkind = "silicon-fuzz"', "fuzz", 0, 10),
        ('[dirt]\nkind = "diode-clipper"', "gain", 0, 10),
        ('[dirt]\nkind = "treble-booster"', "bias", 0, 10),
        ('[dirt]\nkind = "treble-booster"', "supply", 3, 24),
        ('[dirt]\nkind = "treble-booster"', "battery", 1, 10_000),
        ('[dirt]\nkind = "treble-booster"', "touch_db", -60, 60),
        ('[dirt]\nkind = "treble-booster"', "level_db", -60, 60),
        ('[buffer]\nat = "guitar"', "gain_db", -40, 40),
        ('[pedal]\nresistance = "25k"', "dial", 0, 10),
    ],
)
def test_limits_are_where_the_page_has_them(
    tmp_path: Path, section: str, key: str, least: float, most: float
) -> None:
    file = tmp_path / "own.toml"
    rig = built_in_rigs()["humbucker-500k"].read_text()
    for edge, beyond in ((least, -1), (most, 1)):
        file.write_text(f"{rig}\n{section}\n{key} = {edge}\n")
        read_rig(file)
        off = edge + beyond * 1e-3 * max(1.0, abs(edge))
        file.write_text(f"{rig}\n{section}\n{key} = {off!r}\n")
        with pytest.raises(InputError, match=rf"\[{section[1:].partition(']')[0]}\]: {key} = "):
            read_rig(file)


@pytest.mark.parametrize(
    ("marking", "word", "law"),
    [
        ("A500K", None, "audio"), ("B500K", None, "linear"), ("500k", None, "audio"),
        ("500k", "linear", "linear"), ("A500K", "audio", "audio"), ("B500K", "B", "linear"),
        ("A500K", "two-slope", "two-slope"), ("A500K", "linear", None), ("B500K", "audio", None),
        ("B500K", "two-slope", None),
    ],
)  # fmt: skip
def test_a_pots_marking_and_its_taper(
    tmp_path: Path, marking: str, word: str | None, law: str | None
) -> None:
    file = tmp_path / "own.toml"
    rig = built_in_rigs()["humbucker-500k"].read_text()
    start, rest = rig.split("[volume]")
    rest = rest[rest.index("\n[") :]
    said = "" if word is None else f'taper = "{word}"\n'
    file.write_text(f'{start}[volume]\nresistance = "{marking}"\n{said}{rest}')
    if law is None:
        with pytest.raises(InputError, match=r"but resistance = .* says .*; leave one of them out"):
            read_rig(file)
    else:
        assert read_rig(file).volume.taper.kind == law


def test_the_player_is_part_of_the_rig(tmp_path: Path) -> None:
    text = built_in_rigs()["humbucker-500k"].read_text()
    usual = {"full": 1, "rolls-back": 3, "swells": 4, "cleans-up-dirt": 3}
    for plays, count in usual.items():
        (tmp_path / "own.toml").write_text(f'{text}\n[player]\nplays = "{plays}"\n')
        assert len(read_rig(tmp_path / "own.toml").player.dials) == count
    (tmp_path / "own.toml").write_text(f'{text}\n[player]\nplays = "swells"\ndials = [9, 2.5]\n')
    player = read_rig(tmp_path / "own.toml").player
    assert (player.plays, player.dials) == ("swells", (9.0, 2.5))
    # No section is a player who rolls back a little.
    assert read_rig(built_in_rigs()["humbucker-500k"]).player.plays == "rolls-back"


@pytest.mark.parametrize(
    ("section", "says"),
    [
        ('plays = "loud"', "[player] plays = 'loud'"),
        ("dials = 8", "[player]: dials = 8 must be a list of dial positions"),
        ("dials = []", "dials must be 1 to 20 positions"),
        ("dials = [0, 5]", "dials: 0 must lie above 0 and up to 10"),
        ("knob = 1", "knob"),
    ],
)
def test_player_errors(tmp_path: Path, section: str, says: str) -> None:
    text = built_in_rigs()["humbucker-500k"].read_text()
    (tmp_path / "own.toml").write_text(f"{text}\n[player]\n{section}\n")
    with pytest.raises(InputError) as caught:
        read_rig(tmp_path / "own.toml")
    assert says in str(caught.value) and "own.toml" in str(caught.value)


def test_design_file(tmp_path: Path) -> None:
    file = tmp_path / "designs.toml"
    file.write_text(
        '[[design]]\nname = "one"\ntitle = "One"\nnetwork = { series = ["68k", "1n5"] }\n'
        '[[design]]\nname = "two"\nnetwork = { parallel = [{ capacitor = "470p" },'
        ' { series = [{ resistor = 1e4 }, { gang = "250k", taper = "audio", at_ten = "full" }] }] }\n'
        '[[design]]\nname = "none"\nnetwork = "bare"\n'
    )
    one, two, none = read_designs(file)
    assert format_network(one.network) == "68k + 1n5"
    assert format_network(two.network) == "470p || (10k + gang(250k, audio, full))"
    assert none.network is None


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[[design]]\nname = "x"\n', "network is missing"),
        ('[[design]]\nname = "x"\nnetwork = { seriess = ["1k"] }', "exactly one of"),
        ('[[design]]\nname = "x"\nnetwork = "1k +"', "column 5"),
        ('[[design]]\nname = "x"\nnetwork = { series = [] }', "at least one part"),
        ('[[design]]\nname = ""\nnetwork = "1k"', "1 to 80 printable"),
        ('[[design]]\nname = "x"\nnetwork = { gang = "250k", tapr = "audio" }', "nearest valid"),
        ('[[design]]\nname = "x"\nnetwork = { resistor = "1k", note = "x" }', "note"),
        ('[[desing]]\nname = "x"\nnetwork = "1k"', "nearest valid key: design"),
    ],
)
def test_design_file_errors(tmp_path: Path, text: str, message: str) -> None:
    file = tmp_path / "designs.toml"
    file.write_text(text)
    with pytest.raises(InputError, match=message):
        read_designs(file)


def test_gesture(tmp_path: Path) -> None:
    file = tmp_path / "swell.csv"
    file.write_text("time_s,dial\n0,0\n0.4,10\n2,10\n")
    assert read_gesture(file) == KnobPath((0.0, 0.4, 2.0), (0.0, 10.0, 10.0))
    for bad, message in (
        ("time_s,dial\n0,0\n2,3\n1,5\n", "rise from point to point"),
        ("time_s,dial\n0,0\n2,11\n", "dial = 11 must lie"),
        ("time_s,dial\n0,zero\n2,1\n", "line 2"),
        ("dial,time\n0,1\n", "first row must be time_s,dial"),
    ):
        file.write_text(bad)
        with pytest.raises(InputError, match=message):
            read_gesture(file)


def test_steady_turn() -> None:
    assert steady_turn(10, 0, 8, 1) == KnobPath((0.0, 1.0, 9.0, 10.0), (10.0, 10.0, 0.0, 0.0))
    assert steady_turn(10, 0, 8, 0) == KnobPath((0.0, 8.0), (10.0, 0.0))
    for arguments in ((10, 0, 0, 1), (10, 10, 0, 0), (10, 0, -1, 1), (10, 0, 8, float("nan"))):
        with pytest.raises(InputError):
            steady_turn(*arguments)
