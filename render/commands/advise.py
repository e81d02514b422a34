"""The advise command: from a complaint to what to do about it, in one go."""

from dataclasses import replace
from pathlib import Path

import click

import presolder as ps
from presolder._asked import for_samples
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.stage import Stage
from presolder.models.instrument.starter import ALL_QUESTIONS, FIRST_QUESTIONS
from presolder.render.commands.asking import ask_all, forget_answers, resumed
from presolder.render.commands.examples import examples
from presolder.render.commands.init import checked
from presolder.render.commands.options import jobs_option, json_option, judging_options
from presolder.render.commands.output import (
    LISTENING_CAUTION,
    new_text,
    open_page,
    progress_on_terminal,
    say_blocks,
    say_json,
)
from presolder.render.files.folder import new_folder, require_free_folder
from presolder.render.files.rig_file import find_situations, read_rig_text
from presolder.render.report.advice import advice, in_parts, named, off
from presolder.render.report.judged import sounds_over_dials
from presolder.render.report.sheet import Sheet, sheet_pages
from presolder.render.report.table import Block, Table, lines_of

_RIG, _PAGE, _SHEET, _ORDER = "rig.toml", "listen.html", "sheet.html", "order.txt"
# What benches fit where a bypass is wanted and nothing else is known: common practice, no source.
_USUAL_SHAPES = ("series", "series-strong")
_TAKE = "chords"
_STEPS = 4


@click.command(
    epilog=examples(
        "presolder advise",
        "presolder advise --rig my-guitar.toml --out advice --open",
        "presolder advise --rig single-coil-250k --plays swells",
    )
)
@click.option("--rig", "rig_name", metavar="RIG", help="Ask nothing: advise on this rig.")
@click.option("--more", is_flag=True, help="Ask all that can be known, not only five questions.")
@click.option("--resume", is_flag=True, help="Go on with the answers of a run that was left.")
@judging_options()
@click.option("--open", "opens", is_flag=True, help="Open the listening page when it is made.")
@click.option(
    "--out", type=click.Path(path_type=Path), default="advice", show_default=True,
    help="Make this folder.",
)  # fmt: skip
@click.option("--force", is_flag=True, help="Replace what an earlier run wrote there.")
@jobs_option
@json_option
def advise(
    rig_name: str | None,
    more: bool,
    resume: bool,
    judging: ps.Judging,
    opens: bool,
    out: Path,
    force: bool,
    as_json: bool,
) -> None:
    """Say whether a bypass helps you, which one, and make all you need for it.

    Asks five questions, or takes a rig; '?' to what you don't know. Makes a
    folder with the rig, a page to listen with, and where something is to be
    soldered, the sheet and the order.
    """
    require_free_folder(out, force=force)
    if rig_name is None:
        questions = ALL_QUESTIONS if more else FIRST_QUESTIONS
        given = resumed() if resume else {}
        if judging.plays is not None:
            given["player.plays"] = judging.plays
        text = ps.starter(ask_all(questions, given, checked(False), "presolder advise")).toml
        situations = read_rig_text(out / _RIG, text)
    else:
        text, situations = "", find_situations(rig_name)
    with new_folder(out, force=force) as folder:
        if text:
            with new_text(folder / _RIG, force=False) as file:
                file.write(text)
        with progress_on_terminal("working it out") as progress:
            found = ps.need(situations, judging)
            progress(1, _STEPS)
            searched = ps.tailor(situations, judging)
            progress(1, _STEPS)
            chosen = _chosen(found, searched)
            _write_page(folder / _PAGE, situations, judging, _to_hear(found, searched))
            progress(1, _STEPS)
            if chosen.design.network is not None:
                _write_order(folder, found, chosen)
    forget_answers()
    if as_json:
        say_json(
            {
                "folder": str(out),
                "design": format_network(chosen.design.network) or "bare",
                "need": found.plain(),
                "tailor": searched.plain(),
            }
        )
    else:
        to_do = _to_do(out, chosen, rig_name)
        say_blocks([*_said(found, searched, chosen), "", *to_do, LISTENING_CAUTION])
    open_page(out / _PAGE, opens)


def _chosen(found: ps.NeedReport, searched: ps.SearchReport) -> ps.Scored:
    """What the search found, where ears can tell it from the best built-in one; else that one."""
    first = found.ranked[0]
    if first.design.network is None or searched.found.built_in_is_as_good:
        return first
    return searched.found.best[0].judged


def _to_hear(found: ps.NeedReport, searched: ps.SearchReport) -> list[Design]:
    """A few designs for the page: the bare pot, the best, and what differs from them."""
    bare = next(one.design for one in found.ranked if one.design.network is None)
    best = [_chosen(found, searched).design, found.ranked[0].design]
    others = ("series", "series-strong", "parallel-strong", "cap", "series-parallel")
    known = [one.design for name in others for one in found.ranked if one.design.name == name]
    designs = {design.network: design for design in (bare, *best, *known)}
    return list(designs.values())[:6]


def _write_page(
    page: Path, situations: tuple[Situation, ...], judging: ps.Judging, to_hear: list[Design]
) -> None:
    take = judging.take or ps.sample(_TAKE)
    # A circuit is heard by recordings, which take their time; where there is something else to
    # hear, they are left out, and to few designs else.
    live = [one for one in situations if not isinstance(one.rig.dirt, Stage)]
    if not live:
        live, to_hear = list(situations[:1]), to_hear[:3]
    made = live if judging.take else [for_samples(one) for one in live]
    own = replace(judging, take=None)
    contents = ps.Contents(single_file=True, allow_large=True)
    ps.pack(page, take, made, to_hear, contents, own)


def _write_order(folder: Path, found: ps.NeedReport, chosen: ps.Scored) -> None:
    """The sheet, and what to order."""
    sheet = Sheet(found.ears, chosen.design, chosen.figures, found.found, "")
    with new_text(folder / _SHEET, force=False) as file:
        file.write(sheet_pages([sheet]))
    with new_text(folder / _ORDER, force=False) as file:
        order = ps.order([(found.ears[0].rig, chosen.design)])
        file.write("\n".join(lines_of(order.blocks())) + "\n")


def _said(found: ps.NeedReport, searched: ps.SearchReport, chosen: ps.Scored) -> list[Block]:
    """The verdict, and beside each other what it may be."""
    several = len(found.ears) > 1
    said: list[Block] = (
        list(found.blocks()[:3]) if several else list(advice(found.ears[0], found.found[0]))
    )
    if chosen.design.network is None:
        return said
    best = searched.found.best[0].judged
    usual = next(one for one in found.ranked if one.design.name in _USUAL_SHAPES)
    meant: dict[str, tuple[ps.Scored, list[str]]] = {}
    for what, one in (
        ("to solder", chosen), ("what most benches fit", usual), ("the search's first", best),
    ):  # fmt: skip
        meant.setdefault(format_network(one.design.network), (one, []))[1].append(what)
    rows = tuple(
        (
            named(one.design), ", ".join(whats), sounds_over_dials(one.figures[0]), in_parts(one),
            off(one.figures[0]),
        )
        for one, whats in meant.values()
    )  # fmt: skip
    head = ("design", "which is", "sounds", "costs", "the knob is then")
    return [*said, "", Table(head, rows, words=5, spare=("sounds",))]


def _to_do(out: Path, chosen: ps.Scored, rig_name: str | None) -> list[str]:
    rig = rig_name or str(out / _RIG)
    lines = [f"{out / _PAGE}: hear it before you decide; any browser opens it (or --open)"]
    if chosen.design.network is not None:
        lines += [
            f"{out / _SHEET}: parts, wiring and what the meter reads after each step; print it",
            f"{out / _ORDER}: what to order",
        ]
    if rig_name is None:
        lines.append(f"{rig}: the guitar as it was taken, to make surer: what is typical is marked")
    return [*lines, f"More of the same: presolder compare --rig {rig}"]
