"""Values as people write them, and values that nobody means."""

import re
from pathlib import Path

import pytest

from presolder.models.errors import InputError, OddValueWarning
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.markings import read_length, read_pot_marking
from presolder.models.instrument.network import (
    Capacitor,
    Parallel,
    Resistor,
    Series,
    network_in_words,
)
from presolder.models.instrument.preferred import preferred_values
from presolder.models.instrument.quantities import Unit, parse_quantity
from presolder.render.files.rig_file import built_in_rigs, read_rig
from running import presolder_here

RIG = """\
[pickup]
resistance = "7k6"
inductance = "3.6 H"
capacitance = "105p"
[volume]
resistance = "500k"
[tone]
resistance = "500k"
capacitance = "22n"
[cable]
length_m = 4.5
picofarads_per_m = 100
[input]
resistance = "1M"
"""


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        (".022uf", "farad", 22e-9),
        (".022 MFD", "farad", 22e-9),
        ("0,022 uF", "farad", 22e-9),
        ("22NF", "farad", 22e-9),
        ("680PF", "farad", 680e-12),
        ("680 mmf", "farad", 680e-12),
        ("4N7", "farad", 4.7e-9),
        # Two figures and the power of ten in picofarads.
        ("223", "farad", 22e-9),
        ("104J", "farad", 100e-9),
        ("681K", "farad", 680e-12),
        ("1meg", "ohm", 1e6),
        ("1 Meg", "ohm", 1e6),
        ("2.2 megohm", "ohm", 2.2e6),
        ("150 k", "ohm", 150e3),
        ("150 kohms", "ohm", 150e3),
        ("8,2k", "ohm", 8200.0),
        ("4.5 Henry", "henry", 4.5),
        ("2400 mh", "henry", 2.4),
    ],
)
def test_values(text: str, unit: Unit, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-12)


def test_what_two_people_read_differently_is_refused() -> None:
    with pytest.raises(InputError, match="22 pF or 220 pF"):
        parse_quantity("220", "farad")
    with pytest.raises(InputError, match="may be 8200 or 8.200; write one"):
        parse_quantity("8,200", "ohm")
    with pytest.raises(InputError, match="may be 1500 pF or 1.500 pF"):
        parse_quantity("1,500 pF", "farad")
    with pytest.raises(InputError, match="may be 4500 mm or 4.500 mm"):
        read_length("4,500 mm")
    # A nought at the front, or other than three figures behind, says which.
    assert parse_quantity("0,022 MFD", "farad") == pytest.approx(22e-9)
    assert parse_quantity("8,25k", "ohm") == parse_quantity("8,2500k", "ohm") == 8250
    for text, unit in (("1m", "ohm"), ("0.02MF", "farad"), ("1,000,000", "ohm")):
        with pytest.raises(InputError):
            parse_quantity(text, unit)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "ohms", "law"),
    [
        ("500KA", 500e3, "audio"),
        ("A500K", 500e3, "audio"),
        ("B250K", 250e3, "linear"),
        ("250k B", 250e3, "linear"),
        ("C1M", 1e6, "reverse-audio"),
        ("500k log", 500e3, "audio"),
        ("A500K audio", 500e3, "audio"),
        ("B250 kohm", 250e3, "linear"),
        ("A1 meg", 1e6, "audio"),
        ("250k lin", 250e3, "linear"),
        ("1meg", 1e6, None),
        ("500 kΩ", 500e3, None),
        ("470", 470.0, None),
    ],
)
def test_pot_markings(text: str, ohms: float, law: str | None) -> None:
    assert read_pot_marking(text) == (pytest.approx(ohms), law)


@pytest.mark.parametrize("text", ["B500K foo", "500K foo", "A", "A foo"])
def test_no_pot_markings(text: str) -> None:
    with pytest.raises(InputError, match="is not a value in ohms"):
        read_pot_marking(text)


@pytest.mark.parametrize("text", ["A500KB", "B250K log", "A500KA", "C1M lin"])
def test_a_pot_marked_twice(text: str) -> None:
    with pytest.raises(InputError, match=re.escape(f"{text!r} says its taper twice")):
        read_pot_marking(text)


@pytest.mark.parametrize(
    ("text", "metres"),
    [("15 ft", 4.572), ("15'", 4.572), ("4,5 m", 4.5), ("450 cm", 4.5), ("20 feet", 6.096), (6, 6)],
)
def test_lengths(text: object, metres: float) -> None:
    """A foot is 0.3048 m (international yard and pound agreement of 1959)."""
    assert read_length(text) == pytest.approx(metres)


@pytest.mark.parametrize("text", ["15", "ft", "long", "15 miles", True, None, ""])
def test_no_lengths(text: object) -> None:
    with pytest.raises(InputError, match="is not a length"):
        read_length(text)


def test_expressions_take_them_too() -> None:
    written = parse_expression("150 k || .00068uf")
    assert written == Parallel((Resistor(150e3), Capacitor(680e-12)))
    assert parse_expression("150 k + 1 NF") == Series((Resistor(150e3), Capacitor(1e-9)))
    assert parse_expression("1meg + 22N") == Series((Resistor(1e6), Capacitor(22e-9)))
    assert parse_expression("gang(500k, log, full)") == parse_expression("gang(500k, audio, full)")


def rig_file(folder: Path, old: str, new: str) -> Path:
    assert old in RIG
    path = folder / "mine.toml"
    path.write_text(RIG.replace(old, new, 1))
    return path


@pytest.mark.parametrize(
    ("old", "new", "meant"),
    [
        ('[volume]\nresistance = "500k"', "[volume]\nresistance = 500", "500k"),
        ('"7k6"', "7.6", "7k6"),
        ('"3.6 H"', '"3.6 mH"', "3.6 H"),
        ('"105p"', '"105 uF"', "105p"),
        ('"22n"', '"0.022"', "22n"),
        ("length_m = 4.5", "length_m = 450", "4.5 m"),
        ('[tone]\nresistance = "500k"', '[tone]\nresistance = "500M"', "500k"),
        ('"1M"', '"1"', "1M"),
        ("picofarads_per_m = 100", "picofarads_per_m = 1", "100 pF/m"),
        ('"22n"', '"22u"', "22n"),
    ],
)
def test_slips_of_a_power_of_ten(tmp_path: Path, old: str, new: str, meant: str) -> None:
    """An error that says what was meant, and --as-given insists (where a model can take it)."""
    path = rig_file(tmp_path, old, new)
    done = presolder_here("need", "--rig", path, "--plays", "full", "--left-at", "10")
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert f"did you mean {meant}?" in done.stderr
    assert "mine.toml [" in done.stderr and "--as-given" in done.stderr
    read_rig(path, as_given=True)


def test_odd_values_are_remarked_on_and_taken(tmp_path: Path) -> None:
    path = rig_file(tmp_path, "length_m = 4.5", 'length = "120 ft"')
    with pytest.warns(OddValueWarning, match="odd for a cable length"):
        rig = read_rig(path)
    assert rig.cable_farads == pytest.approx(120 * 0.3048 * 100e-12)
    done = presolder_here("curves", "--rig", path, "--design", "bare")
    assert done.returncode == 0
    assert re.fullmatch(r"presolder: .*mine.toml \[cable\] length = '120 ft': .*\n", done.stderr)
    assert presolder_here("curves", "--rig", path, "--as-given").stderr == ""


def test_designs_are_looked_at_as_well() -> None:
    done = presolder_here("curves", "--rig", "humbucker-500k", "--design", "68k + 1u5")
    assert done.returncode == 0 and "did you mean 1n5?" in done.stderr
    done = presolder_here("sheet", "--rig", "humbucker-500k", "--design", "68k + 150u")
    assert done.returncode == 2 and "did you mean 150p?" in done.stderr
    insisted = ("curves", "--rig", "humbucker-500k", "--design", "68k + 150u", "--as-given")
    assert presolder_here(*insisted).stderr == ""


def test_law_by_marking_and_by_key(tmp_path: Path) -> None:
    path = rig_file(tmp_path, '[volume]\nresistance = "500k"', '[volume]\nresistance = "B500K"')
    assert read_rig(path).first.volume.taper.kind == "linear"
    path.write_text(path.read_text().replace('"B500K"', '"B500K"\ntaper = "log"'))
    with pytest.raises(InputError, match="says linear; leave one of them out"):
        read_rig(path)
    path.write_text(path.read_text().replace('"B500K"', '"500k"'))
    assert read_rig(path).first.volume.taper.kind == "audio"


@pytest.mark.filterwarnings("error")
def test_built_in_rigs_are_plausible() -> None:
    assert len([read_rig(path) for path in built_in_rigs().values()]) >= 6


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("150p", "a capacitor"),
        ("33k + (220k || 1n)", "a resistor, then a resistor beside a capacitor"),
        ("47p || (330k + 150p)", "a capacitor beside a resistor and then a capacitor"),
        ("gang(500k, linear, zero) + 150p", "a second gang, then a capacitor"),
    ],
)
def test_networks_in_words(text: str, words: str) -> None:
    assert network_in_words(parse_expression(text)) == words
    assert network_in_words(None) == "nothing between input lug and wiper"


@pytest.mark.parametrize(("smallest", "largest"), [(1e-12, 1e-5), (1.0, 1e7)])
def test_preferred_values_are_the_numbers_that_people_write(
    smallest: float, largest: float
) -> None:
    """To the last bit: 4.7e-9 is not 4.7 times 1e-9, and a drawer is looked through by value."""
    for value in preferred_values("E24", smallest, largest):
        assert float(value) == float(f"{value:.2g}")
