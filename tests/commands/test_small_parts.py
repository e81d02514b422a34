"""Pieces that the commands are put together from."""

import re

import click
import pytest

import presolder as ps
from presolder.models.errors import InputError
from presolder.render.commands.options import parse_frequencies
from presolder.render.commands.remarks import QUIET, progress_is_seen, remark, say_remarks
from presolder.render.report.rigs import rig_plain
from running import in_process


@pytest.mark.parametrize(
    "text", ["100:50:3", "0:100:3", "1:2:1", "1:2:3:4", "1:2", "a:2:3", "-5:5:3"]
)
def test_frequency_lists_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match=r"first:last:count"):
        parse_frequencies(text)


def test_frequency_lists() -> None:
    assert parse_frequencies("100:400:3") == pytest.approx([100, 200, 400])
    assert parse_frequencies("100,50") == pytest.approx([100, 50])


def test_quiet_leaves_out_progress_and_remarks(capsys: pytest.CaptureFixture[str]) -> None:
    """Progress is for terminals only; remarks wait for the end, so that an error stays one line."""
    for quiet in (False, True):
        context = click.Context(click.Command("a"))
        context.meta[QUIET] = quiet
        with context:
            assert progress_is_seen(True) is not quiet
            assert progress_is_seen(False) is False
            remark("by the way")
            assert capsys.readouterr().err == ""
            say_remarks(context)
            assert capsys.readouterr().err == ("" if quiet else "by the way\n")
            say_remarks(context)
            assert capsys.readouterr().err == ""
    # From a script it is said at once.
    remark("at once")
    assert capsys.readouterr().err == "at once\n"


@pytest.mark.parametrize(("draws", "fits"), [(9, False), (10, True), (100_001, False)])
def test_draws(draws: int, fits: bool) -> None:
    words = ("curves", "--design", "bare", "--dial", "5", "--tolerance", "--draws", str(draws))
    if fits:
        assert re.search(r"-\d+\.\d \(-\d+\.\d to -\d+\.\d\)", in_process(*words))
    else:
        with pytest.raises(InputError, match=f"--draws {draws} must lie between 10 and"):
            in_process(*words)


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
