"""The demo command: bundled takes through a few built-in designs, and a page to listen with."""

from pathlib import Path
from typing import Any

import click

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.rig import Rig
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    jobs_option,
    json_option,
    output_options,
    rig_option,
    stage_options,
)
from presolder.render.commands.output import (
    open_page,
    progress_on_terminal,
    say_blocks,
    say_packed,
    say_rendered,
)
from presolder.render.files.folder import new_folder, require_free_folder, require_free_pack
from presolder.render.files.samples import BAR_SECONDS, SAMPLES

_OUT = {False: Path("presolder-demo"), True: Path("presolder-demo-pack")}
_PAGE = "listen.html"
# Loud enough to compare by, and well down.
_LISTEN_AT = 7.0
_HELD_AT = (10.0, 8.0, _LISTEN_AT, 5.0, 3.0)


@click.command(
    epilog=examples(
        "presolder demo",
        "presolder demo --rig single-coil-250k --sample muted --open",
        "presolder demo --pack --light --out demo.zip",
    )
)
@rig_option
@stage_options()
@click.option(
    "--sample", "samples", type=click.Choice(list(SAMPLES)), multiple=True,
    default=("chords", "lead"), show_default="chords and lead",
    help="Play this bundled take; of several, a bar of each in turn.",
)  # fmt: skip
@click.option("--open", "opens", is_flag=True, help="Open the listening page when it is made.")
@click.option("--pack", "as_pack", is_flag=True, help="Make a listening pack to send instead.")
@click.option("--light", is_flag=True, help="Leave the lossless copies out of a pack.")
@output_options("Make this folder; of a pack also OUT.zip")
@jobs_option
@json_option
def demo(
    rig: Rig,
    speaker: str | None,
    hum_db: float | None,
    samples: tuple[str, ...],
    opens: bool,
    as_pack: bool,
    light: bool,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Hear what the parts do: bundled takes through a few designs, and a page.

    As slow sweeps, as stairs (one dial after the other), beside the bare pot,
    and as a page on which you turn the knob yourself.
    """
    out = out or _OUT[as_pack]
    if as_pack:
        require_free_pack(out, single_file=False, force=force)
    else:
        require_free_folder(out, force=force)
    _require_sense(out, as_pack=as_pack, light=light, opens=opens)
    take = ps.sample(*samples)
    # Of all strings, whatever the rig's own takes are of.
    rig = ps.rig(rig, captured=SAMPLES[samples[0]]).for_any_playing
    # The page plays one take, and lets its visitor choose others.
    played, judging = ps.sample(samples[0]), ps.Judging(speaker=speaker)
    if as_pack:
        with progress_on_terminal("packing") as progress:
            contents = ps.pack(
                out, played, rig, None, ps.Contents(light=light, workshop="the demo bench"),
                judging, hum_db=hum_db, force=force, progress=progress,
            )  # fmt: skip
        say_packed(contents, out, as_json)
        open_page(out / "index.html", opens)
        return
    # So slow that the take is struck several times at every dial.
    sweep = ps.turn(10, 0, travel=14, rest=1)
    comparing = ps.Comparing(True, True, _HELD_AT, phrase_s=len(samples) * BAR_SECONDS)
    alone = ps.Contents(single_file=True, workshop="the demo bench")
    with new_folder(out, force=force) as folder:
        with progress_on_terminal("rendering") as progress:
            manifest = ps.render_files(
                folder, take, rig, short_list(rig), sweep, speaker=speaker, hum_db=hum_db,
                comparing=comparing, progress=progress,
            )  # fmt: skip
        with progress_on_terminal("making the page") as progress:
            page = ps.pack(
                folder / _PAGE, played, rig, None, alone, judging, hum_db=hum_db, progress=progress
            )
    say_rendered(manifest, out, as_json)
    if not as_json:
        say_blocks(_to_do(manifest, page, out))
    open_page(out / _PAGE, opens)


def _require_sense(out: Path, *, as_pack: bool, light: bool, opens: bool) -> None:
    if light and not as_pack:
        raise InputError("--light goes with --pack")
    if opens and as_pack and out.suffix:
        raise InputError("--open opens the page of a folder; unpack the zip first")


def _to_do(manifest: dict[str, Any], page: dict[str, Any], out: Path) -> list[str]:
    """What to listen to first."""
    swept, best = Path(manifest["files"][0]["file"]).parent, page["first"]
    # Where no design is nearer, it may be that nothing is lost, or that it gets brighter.
    heard = "how the bite goes" if best else "what becomes of the sound"
    lines = [
        "",
        "Now listen, beginning quiet:",
        f"  1. {out / swept / 'bare.wav'}: {heard} as the plain knob is turned down",
    ]
    trials = manifest["comparisons"]["files"]
    one = next((e for e in trials if e["kind"] == "ab_matched" and e["design"] == best), None)
    if one is not None:
        dials, starts = manifest["comparisons"]["dials"], one["starts_s"]
        at = starts[len(starts) // len(dials) * dials.index(_LISTEN_AT)]
        lines.append(
            f"  2. {out / one['file']}, from {at // 60:.0f}:{at % 60:02.0f}: at {_LISTEN_AT:g}, the"
            f" plain knob, {best}, the plain knob again, equally loud: {best} keeps the bite that"
            " the plain one loses"
        )
    lines.append(
        f"  {len(lines) - 1}. {out / _PAGE}: turn the knob yourself; any browser opens it"
        " (or --open)"
    )
    return lines
