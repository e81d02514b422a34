"""Takes of one string: pickups differ by their places along it."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import presolder as ps
from ears import ear_of
from presolder.models.audio.knob import KnobPath
from presolder.models.instrument.stage import Stage
from presolder.models.instrument.string import String
from presolder.models.typing import Array
from presolder.render.files.take import Take
from presolder.render.listening.after import After
from presolder.render.listening.job import PackJob

RATE, SECONDS, OPEN_HZ, SCALE = 48_000, 1.5, 110.0, 0.648
NECK, BRIDGE, PLUCK = 0.152, 0.041, 0.19
HELD = KnobPath((0.0, SECONDS), (10.0, 10.0))
GUITAR = """
[pickups.neck]
resistance = "7k"
inductance = "3 H"
capacitance = "110p"
from_bridge = "{neck:.6f} mm"

[pickups.bridge]
resistance = "7k"
inductance = "3 H"
capacitance = "110p"
from_bridge = "{bridge:.6f} mm"

[switch]
neck = "neck"
bridge = "bridge"
both = "neck || bridge"
against = "neck || -bridge"

[volume]
resistance = "250k"

[cable]
capacitance = "500p"

[strings]
scale = "648 mm"

[take]
{take}
"""
STRING_TAKE = 'captured = "string"\nopen_string = 110\nfrom_bridge = "41 mm"'
Guitar = Callable[..., dict[str, ps.Rig]]


@pytest.fixture
def guitar(tmp_path: Path) -> Guitar:
    def made(take: str, neck: float = NECK, bridge: float = BRIDGE) -> dict[str, ps.Rig]:
        file = tmp_path / "guitar.toml"
        file.write_text(GUITAR.format(neck=1e3 * neck, bridge=1e3 * bridge, take=take), "utf-8")
        return {one.name: one.rig for one in ps.situations(file)}

    return made


def modes(place: float, count: int = 60) -> Array:
    """Share of each mode in the velocity of an ideal plucked string at a place.

    Fletcher and Rossing, The Physics of Musical Instruments, chapter 2: the
    n-th mode has the shape sin(n pi x / L), and plucked at a place 1/n^2 of
    that shape's value there in displacement, 1/n in velocity; from memory.
    """
    n = np.arange(1, count + 1)
    shape = np.sin(n * np.pi * place / SCALE)
    return np.asarray(shape * np.sin(n * np.pi * PLUCK / SCALE) / n)


def emf(place: float) -> Array:
    """The velocity there over time, dying away."""
    t = np.arange(round(SECONDS * RATE)) / RATE
    n = np.arange(1, 61)[:, None]
    waves = np.cos(2 * np.pi * n * OPEN_HZ * t)
    return np.asarray(0.2 * modes(place) @ waves * np.exp(-1.5 * t))


def partials(audio: Array) -> Array:
    """Complex size of the first sixty partials, by projection."""
    t = np.arange(audio.size) / RATE
    n = np.arange(1, 61)[:, None]
    window = np.hanning(audio.size) * np.exp(1.5 * t)
    return np.asarray(np.exp(-2j * np.pi * n * OPEN_HZ * t) @ (audio * window)) / window.sum() * 2


def take_of(audio: Array) -> Take:
    return Take(audio[np.newaxis], RATE, "string", "")


def heard(rig: ps.Rig, take: Array, dial: float = 10.0) -> Array:
    path = KnobPath((0.0, SECONDS), (dial, dial))
    return ps.render(take_of(take), rig, ["bare"], path)["bare"][0]


@pytest.mark.slow
@pytest.mark.parametrize("position", ["neck", "both", "against"])
def test_pickups_get_what_the_string_does_at_their_places(guitar: Guitar, position: str) -> None:
    """From a take at the bridge's place to other positions, by the modes of a plucked string."""
    rigs = guitar(STRING_TAKE)
    alike = {name: rig.for_any_playing for name, rig in rigs.items()}
    at_bridge, at_neck = emf(BRIDGE), emf(NECK)
    got = partials(heard(rigs[position], at_bridge))
    # Both coils have the same values, so each gives half of its EMF.
    wanted = {
        "neck": partials(heard(alike["neck"], at_neck)),
        "both": partials(heard(alike["both"], 0.5 * (at_neck + at_bridge))),
        "against": partials(heard(alike["both"], 0.5 * (at_neck - at_bridge))),
    }[position]
    known = np.sin(np.arange(1, 61) * np.pi * BRIDGE / SCALE)
    loud = (np.abs(known) > 0.25) & (np.abs(wanted) > 0.02 * np.abs(wanted).max())
    assert loud.sum() > 15
    off_db = 20 * np.log10(np.abs(got[loud] - wanted[loud]) / np.abs(wanted[loud]))
    # Measured -30 and -14: the wave that comes back is 0.95 of what it was, not all of it.
    assert np.median(off_db) < -26 and off_db.max() < -11
    # What the same EMF in all would be is nowhere near.
    if position != "both":
        plain = partials(heard(alike[position], at_bridge))
        assert np.median(np.abs(plain[loud] - wanted[loud]) / np.abs(wanted[loud])) > 0.5


@pytest.mark.slow
def test_take_at_the_jack_of_another_position(guitar: Guitar) -> None:
    """Recorded at the bridge with the volume down, heard at the neck, as from its own EMF."""
    string = guitar(STRING_TAKE)
    jack = guitar('open_string = 110\nswitch = "bridge"\nvolume_dial = 7')
    recorded = heard(string["bridge"], emf(BRIDGE), 7.0)
    off = heard(jack["neck"], recorded) - heard(string["neck"], emf(BRIDGE))
    level = heard(string["neck"], emf(BRIDGE))
    middle = slice(RATE // 4, -RATE // 4)
    # Measured -90 dB.
    assert 20 * np.log10(np.std(off[middle]) / np.std(level[middle])) < -85


@pytest.mark.slow
def test_two_emfs_that_are_one(guitar: Guitar) -> None:
    """Pickups a thousandth of a millimetre apart, each with an EMF: as two with the same."""
    rig = guitar(STRING_TAKE, neck=BRIDGE + 1e-6)["both"]
    take, path = take_of(emf(BRIDGE)), ps.turn(10, 3, travel=1.0, rest=0.2)
    # Hum comes from the coil, wherever along the string it is.
    for dirt, hum_db in ((None, None), (None, -20.0), (Stage("germanium-fuzz"), None)):
        designs = ["bare", "68k + 1n5"]
        apart = ps.render(take, rig, designs, path, dirt=dirt, hum_db=hum_db)
        alike = ps.render(take, rig.for_any_playing, designs, path, dirt=dirt, hum_db=hum_db)
        for name in designs:
            off = np.std(apart[name] - alike[name]) / np.std(alike[name])
            assert 20 * np.log10(off) < -82  # measured -87


def test_speed_of_the_wave() -> None:
    """A wave goes up and down the open string once a period."""
    assert String(OPEN_HZ, SCALE).wave_seconds(2 * SCALE) == pytest.approx(1 / OPEN_HZ)


@pytest.mark.parametrize(
    ("take", "said"),
    [
        ('captured = "string"\nopen_string = 110', "both open_string and from_bridge"),
        ('captured = "string"\nfrom_bridge = "41 mm"', "both open_string and from_bridge"),
        ('from_bridge = "41 mm"', "describes a string take"),
        ("open_string = 5", "open_string = 5 Hz must lie between 20 and 1500 Hz"),
    ],
)
def test_takes_that_make_no_sense(guitar: Guitar, take: str, said: str) -> None:
    with pytest.raises(ps.InputError, match=said):
        guitar(take)


def test_places_that_are_not_known(tmp_path: Path) -> None:
    text = GUITAR.format(neck=152, bridge=41, take="open_string = 110")
    file = tmp_path / "guitar.toml"
    for old, new, said in (
        ('from_bridge = "41.000000 mm"', "", "each pickup needs from_bridge"),
        ('scale = "648 mm"', "", "scale"),
        ('[strings]\nscale = "648 mm"\n', "", "needs the scale of the guitar"),
        ('"648 mm"', '"9 m"', "scale = 9 m must lie between"),
        ('"152.000000 mm"', '"1 mm"', "from_bridge = 1 mm must lie between 2 and 500 mm"),
    ):
        assert old in text
        file.write_text(text.replace(old, new), "utf-8")
        with pytest.raises(ps.InputError, match=said):
            ps.situations(file)


def test_it_is_said_which_emf_pickups_get(guitar: Guitar) -> None:
    rigs = guitar("open_string = 110")
    assert "on one string of 110 Hz" in str(rigs["both"])
    assert "all coils have the same EMF" in str(rigs["both"].for_any_playing)
    assert "same EMF" not in str(rigs["neck"].for_any_playing)
    ear = replace(ear_of(ps.rig()), rig=rigs["both"])
    job = PackJob(ps.sample(), (ear,), ps.designs()[:1], After(), ps.Contents())
    assert job.left_out(ear) == "the pickups' places along the string"
