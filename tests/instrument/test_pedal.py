"""Netlists of one's own: what is read, what is refused and with which line."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import presolder as ps
from netlist import run_spice
from presolder.models.circuit.rest import resting
from presolder.models.errors import InputError
from presolder.models.instrument.pedal import Pedal, read_pedal
from presolder.models.instrument.stage import Stage
from presolder.render.files.rig_file import read_situations
from presolder.render.plots import guitar_svg, stage_svg
from running import presolder_here
from takes import SAMPLES

PEDALS = Path(__file__).parents[1] / "data" / "pedals"
GOOD = """a title, whatever it says
* a remark
Vs supply 0 DC 9 ; and another
Cin in base 100nF
Rb supply base
+ 1.5Meg
Q1 out base 0 npn
Rc supply out 10K
.model npn NPN(IS=1e-14, BF=200)
.end
what comes after is not read
"""


def test_values_and_lines_as_simulators_read_them() -> None:
    pedal = read_pedal(GOOD, "mine")
    by_name = {part.name: part for part in pedal.parts}
    assert [by_name[name].value.at({}) for name in ("VS", "CIN", "RB", "RC")] == pytest.approx(
        [9.0, 1e-7, 1.5e6, 1e4]
    )
    assert by_name["Q1"].nodes == ("out", "base", "0") and by_name["Q1"].says("BF") == 200
    assert set(pedal.nodes) == {"supply", "0", "in", "base", "out"}


def test_a_working_point_by_hand() -> None:
    """9 V over 1.5 MΩ into a base at 0.65 V: 5.6 µA, times 200 over 10 kΩ is more than there is."""
    volts = resting(Stage(read_pedal(GOOD, "mine"))).node_volts
    assert volts["base"] == pytest.approx(0.65, abs=0.05)
    assert volts["out"] < 0.2


def test_a_junction_falls_by_two_millivolts_a_degree() -> None:
    """Of silicon (Gray and Meyer, Analysis and Design of Analog Integrated Circuits, section 4.4;
    from memory), which a bandgap of 1.11 V and a drop of 0.6 V make at room temperature."""
    diode = "title\nVs supply 0 9\nCin in a 1u\nRs supply a 100k\nD1 a 0 d\nCout a out 1u\n"
    diode += "Rl out 0 1meg\n.model d D(IS=1e-14)\n.temp {}\n"
    drop = [
        resting(Stage(read_pedal(diode.format(celsius), "mine"))).node_volts["a"]
        for celsius in (17, 37)
    ]
    assert (drop[1] - drop[0]) / 20 == pytest.approx(-2e-3, abs=0.3e-3)


def test_what_leaks_is_a_junction_more() -> None:
    """Eight are accepted: two transistors with all of their leakage, and no diode besides."""
    leaking = GOOD.replace("BF=200", "BF=200 ISE=1e-13 ISC=1e-13")
    more = "\n".join(f"Q{n} out base 0 npn" for n in (2, 3))
    assert read_pedal(leaking.replace("Rc", "Q2 out base 0 npn\nRc"), "mine")
    with pytest.raises(InputError, match="12 junctions"):
        read_pedal(leaking.replace("Rc", more + "\nRc"), "mine")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("Q1 out base 0 npn", "Q1 out base 0", "line 7: 'Q1 out base 0': Q1 has collector, base"),
        ("Q1 out base 0 npn", "Q1 out base 0 other", "no .model OTHER"),
        ("100nF", "0.1,1", "CIN has two nodes and farads"),
        ("100nF", "-1n", "line 4: 'Cin in base -1n'"),
        ("Rc supply out 10K", "Xc supply out 10K", "parts are R, C, L, V, D, E, Q"),
        ("Rc supply out 10K", "Rb supply out 10K", "RB is there twice"),
        ("IS=1e-14", "IS=1e9", "IS = 1e+09; 1e-20 to 0.01 is accepted"),
        ("IS=1e-14", "IKF=100", "IKF of a model is not known"),
        ("IS=1e-14", "VAF=0.5", "VAF = 0.5; 1 to 1e+06 is accepted"),
        (".model npn", ".temp 200\n.model npn", ".temp = 200"),
        (".model npn", ".temp\n.model npn", "one number, in degrees C"),
        ("in base", "base base", "lies between 'base' and itself"),
        ("Cin in", "Cin inn", "no part is at the node 'in'"),
        ("100nF", "100nF\nRx in far 1k", "the node 'far' has one part only"),
        ("Cin in base 100nF", "Rin in base 100", "stand at its input"),
        ("Q1 out base 0 npn", "", "0 junctions"),
        ("Vs supply 0 DC 9", "Vs supply 0 9\nVt supply 0 8", "parts hang in the air"),
    ],
)
def test_what_cannot_be_used_is_one_line(tmp_path: Path, old: str, new: str, said: str) -> None:
    file = tmp_path / "mine.cir"
    file.write_text(GOOD.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        ps.dirt(str(file))
    text = str(caught.value)
    assert said in text and text.startswith(str(file)) and "\n" not in text


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("{1k*gain*gain}", "is no sum of numbers and knobs"),
        ("{1k/gain}", "is no sum"),
        ("{gain", "is no sum"),
        ("{volume*1k}", "is no sum"),
        ("{2*max(1k*gain, 1)}", "is no sum"),
        ("{gain**2}", "is no sum"),
        ("{__import__('os')}", "is no sum"),
        ("{1k/0}", "is no sum"),
        ("{(((((1}", "is no sum"),
        ("{" + "1+" * 200 + "1}", "at most 200 characters"),
        ("{1k - 200*gain}", "RC = -1000 must lie between"),
    ],
)
def test_a_knob_moves_a_part_along_a_line_alone(value: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_pedal(GOOD.replace("10K", value).replace("Rb", ".param gain=5\nRb"), "mine")
    assert said in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("param", "said"),
    [
        (".param", "in pairs, such as gain=5"),
        (".param gain", "in pairs"),
        (".param gain=11", ".param gain = 11 must lie between 0 and 10"),
        (".param gain=5 tone=3", "gain and tone: one knob of its own"),
        (".param kind=5", "a word of letters, but for kind"),
        (".param supply=90", ".param supply = 90 must lie between 3 and 24"),
    ],
)
def test_knobs_that_cannot_be(param: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_pedal(GOOD.replace("Rb", f"{param}\nRb"), "mine")
    assert said in str(caught.value)


def test_knobs_of_ones_own_stand_as_drawn_and_are_turned_by_a_rig_file(tmp_path: Path) -> None:
    """The simulator reads the same file, its knobs set anew, and finds the same voltages."""
    text = (PEDALS / "knobs.cir").read_text("utf-8")
    drawn = ".param drive=6 bias=4 supply=8 battery=220"
    assert text.count(drawn) == 1
    (tmp_path / "mine.cir").write_text(text)
    rig = (SAMPLES.parent / "render/rigs/humbucker-500k.toml").read_text("utf-8")
    for given, param in (
        ("", drawn),
        ("drive = 0\nbattery = '2k2'\n", ".param drive=0 bias=4 supply=8 battery=2.2k"),
        ("bias = 1.5\nsupply = 12\n", ".param drive=6 bias=1.5 supply=12 battery=220"),
    ):
        (tmp_path / "rig.toml").write_text(f'{rig}\n[dirt]\nkind = "mine.cir"\n{given}')
        (one,) = read_situations(tmp_path / "rig.toml")
        assert isinstance(one.rig.dirt, Stage)
        told = resting(one.rig.dirt).node_volts
        nodes = ("rail", "base", "coll", "emit", "free")
        lines = [*text.replace(drawn, param).splitlines()[1:], "Rin in 0 1meg"]
        (at_rest,) = run_spice(lines, "op", nodes=" ".join(f"v({node})" for node in nodes))
        # Measured 0.04 mV.
        assert [told[node] for node in nodes] == pytest.approx(list(at_rest[1:]), abs=1e-4)
    (tmp_path / "rig.toml").write_text(f'{rig}\n[dirt]\nkind = "mine.cir"\ngain = 3\n')
    with pytest.raises(InputError, match="unknown key 'gain'"):
        read_situations(tmp_path / "rig.toml")


@pytest.mark.slow
def test_a_circuit_is_drawn_with_its_voltages(tmp_path: Path) -> None:
    """Each part by its name and value, and where the simulator has the nodes too."""
    file = tmp_path / "circuit.svg"
    asked = ("--design", "bare", "--circuit", str(file))
    done = presolder_here("cleanup", "--dirt", str(PEDALS / "knobs.cir"), *asked)
    assert done.returncode == 0, done.stderr
    said = [one for text in ET.parse(file).iter() if (one := (text.text or "").strip())]
    (at_rest,) = run_spice(
        [*(PEDALS / "knobs.cir").read_text("utf-8").splitlines()[1:], "Rin in 0 1meg"], "op",
        nodes="v(base) v(coll)",
    )  # fmt: skip
    for one in ("rtop", "390 kΩ", "cin", "220 nF", "q1", "vcell", "8 V"):
        assert one in said
    for volts in at_rest[1:]:
        assert f"{volts:.2f} V" in said
    # Whatever it is called.
    named = Stage(read_pedal(GOOD, 'R&D <"one">'))
    assert ET.fromstring(stage_svg(named)).attrib["aria-label"].endswith('R&D <"one">')
    guitar = ET.fromstring(guitar_svg(replace(ps.rig("humbucker-500k"), dirt=named)))
    assert 'R&D <"one">' in [(one.text or "").strip() for one in guitar.iter()]
    done = presolder_here("cleanup", "--dirt", "smooth", "--circuit", str(tmp_path / "none.svg"))
    assert done.returncode == 2 and "smooth is a curve" in done.stderr


def test_limits() -> None:
    with pytest.raises(InputError, match="at most 24"):
        chain = "\n".join(f"R{i} {i - 1 or 'in'} {i} 1k" for i in range(1, 27))
        read_pedal(f"title\n{chain}\nD1 26 0 d\nRo out 0 1\nRp out 3 1\n.model d D()\n", "long")
    with pytest.raises(InputError, match="9 junctions"):
        many = "\n".join(f"D{i} out 0 d" for i in range(9))
        read_pedal(f"title\nRi in out 1k\n{many}\n.model d D()\n", "many")


@pytest.mark.parametrize("file", sorted(PEDALS.glob("*.cir")), ids=lambda file: file.stem)
def test_each_is_heard(file: Path) -> None:
    """And what comes out is another sound than what goes in, bounded by its battery."""
    audio = ps.render(
        ps.sample("muted"), "humbucker-500k", ["bare"], ps.turn(10, 8, travel=0.5, rest=0.1), dirt=file,
    )  # fmt: skip
    (heard,) = audio.audio.values() if isinstance(audio.audio, dict) else audio.audio
    assert 1e-3 < np.abs(heard).max() < 10


@pytest.mark.slow
def test_a_rig_file_names_one(tmp_path: Path) -> None:
    (tmp_path / "mine.cir").write_text(GOOD)
    rig = tmp_path / "rig.toml"
    rig.write_text(
        (SAMPLES.parent / "render/rigs/humbucker-500k.toml").read_text("utf-8")
        + '\n[dirt]\nkind = "mine.cir"\ntouch_db = 3\n'
    )
    (one,) = read_situations(rig)
    assert isinstance(one.rig.dirt, Stage) and isinstance(one.rig.dirt.kind, Pedal)
    assert one.rig.dirt.touch_db == 3 and str(one.rig.dirt) == "mine"
    done = presolder_here("cleanup", "--rig", str(rig), "--design", "cap", "--json")
    assert done.returncode == 0, done.stderr
    assert '"mine"' in done.stdout
