"""The commands that make sound: render and demo."""

import json
from dataclasses import replace
from importlib import resources
from pathlib import Path

import click

from presolder.models.designs import BUILT_IN
from presolder.models.errors import InputError, within
from presolder.models.knob import KnobPath, steady_turn
from presolder.models.rig import DirtKind, Rig, Take
from presolder.render.audio import Bits, read_recording
from presolder.render.options import (
    LISTENING_CAUTION,
    choose_dirt,
    design_options,
    gather_designs,
    json_option,
    output_options,
    progress_on_terminal,
    rig_option,
    stage_options,
)
from presolder.render.points import read_gesture
from presolder.render.rigfile import DEFAULT_RIG, find_rig
from presolder.render.stages import Stages
from presolder.render.sweepfiles import SweepJob, describe_fit, render_sweep

DEMO_TAKE = "fifths.flac"


@click.command()
@click.argument("di", type=click.Path(path_type=Path))
@rig_option
@design_options
@click.option(
    "--captured", type=click.Choice(["jack", "string"]), help="Overrides the rig's [take]."
)
@click.option("--from", "start", type=float, default=10.0, show_default=True, help="First dial.")
@click.option("--to", "stop", type=float, default=0.0, show_default=True, help="Last dial.")
@click.option("--travel", type=float, default=8.0, show_default=True, help="Seconds turning.")
@click.option(
    "--rest", type=float, default=1.0, show_default=True, help="Seconds still at each end."
)
@click.option("--gesture", type=click.Path(path_type=Path), help="CSV of time_s,dial instead.")
@click.option(
    "--gain-db", type=float, help="Gain for all designs; default: loudest peak at -1 dBFS."
)
@click.option("--bits", type=click.Choice(["16", "24", "float"]), default="24", show_default=True)
@stage_options
@output_options
@json_option
@click.pass_context
def render(
    context: click.Context,
    di: Path,
    rig_name: str,
    design_names: tuple[str, ...],
    designs_file: Path | None,
    captured: str | None,
    start: float,
    stop: float,
    travel: float,
    rest: float,
    gesture: Path | None,
    gain_db: float | None,
    bits: Bits,
    dirt_kind: DirtKind | None,
    drive: float | None,
    speaker: str | None,
    hum_db: float | None,
    out: Path,
    force: bool,
    as_json_text: bool,
) -> None:
    """Render recording DI through each design while the volume knob turns."""
    rig = find_rig(rig_name)
    if captured is not None:
        rig = recaptured(rig, captured)
    designs = gather_designs(design_names, designs_file)
    path = knob_path(context, start, stop, travel, rest, gesture)
    if gain_db is not None and not abs(gain_db) <= 200:
        raise InputError(f"--gain-db {gain_db:g} must lie between -200 and 200")
    stages = Stages(choose_dirt(rig, dirt_kind, drive), speaker, hum_db)
    job = SweepJob(read_recording(di), rig, designs, path, bits, gain_db, stages)
    run_sweep(job, out, force, as_json_text)


def recaptured(rig: Rig, captured: str) -> Rig:
    """The rig with another kind of take."""
    if captured == "string":
        return replace(rig, take=Take("string"))
    return replace(rig, take=replace(rig.take, captured="jack"))


def knob_path(
    context: click.Context,
    start: float,
    stop: float,
    travel: float,
    rest: float,
    gesture: Path | None,
) -> KnobPath:
    """The knob's path from the options; a gesture excludes the steady turn's."""
    if gesture is None:
        try:
            return steady_turn(start, stop, travel, rest)
        except InputError as error:
            raise within(error, "--from/--to/--travel/--rest") from None
    given = [
        option
        for name, option in (
            ("start", "--from"),
            ("stop", "--to"),
            ("travel", "--travel"),
            ("rest", "--rest"),
        )
        if context.get_parameter_source(name) is not click.core.ParameterSource.DEFAULT
    ]
    if given:
        raise InputError(f"--gesture and {given[0]} exclude each other")
    return read_gesture(gesture)


def run_sweep(job: SweepJob, out: Path, force: bool, as_json_text: bool) -> None:
    """Render with progress, and say what was made, or print the manifest."""
    length = 2 * len(job.designs) * round(job.path.duration_s * job.recording.sample_rate_hz)
    with progress_on_terminal("rendering", length) as progress:
        manifest = render_sweep(job, out, force=force, progress=progress)
    if as_json_text:
        click.echo(json.dumps(manifest, indent=2, ensure_ascii=False))
        click.echo(LISTENING_CAUTION, err=True)
        return
    click.echo(
        f"take: {describe_fit(job.recording, job.path)}; gain for all designs:"
        f" {manifest['output']['gain_db']:+.2f} dB"
    )
    for entry in manifest["files"]:
        loudness = entry["integrated_lufs"]
        level = "too quiet to measure" if loudness is None else f"{loudness:6.1f} LUFS"
        click.echo(f"{out / entry['file']}  {level}")
    click.echo(LISTENING_CAUTION)


@click.command()
@stage_options
@click.option("--pack", "as_pack", is_flag=True, help="Make a listening pack to send instead.")
@click.option("--light", is_flag=True, help="Of a pack, leave out the lossless copies.")
@output_options
@json_option
def demo(
    dirt_kind: DirtKind | None,
    drive: float | None,
    speaker: str | None,
    hum_db: float | None,
    as_pack: bool,
    light: bool,
    out: Path,
    force: bool,
    as_json_text: bool,
) -> None:
    """Render the bundled recording through every built-in design."""
    take = Path(str(resources.files("presolder.samples").joinpath(DEMO_TAKE)))
    rig = find_rig(DEFAULT_RIG)
    stages = Stages(choose_dirt(rig, dirt_kind, drive), speaker, hum_db)
    path = steady_turn(10.0, 0.0, 8.0, 1.0)
    if as_pack:
        # The page and its templates take a while to load, and only packs need them.
        from presolder.render.packing import DEMO_DIALS, PackJob, run_pack

        recording = read_recording(take)
        job_ = PackJob(recording, rig, BUILT_IN, path, DEMO_DIALS, stages, "the demo bench")
        run_pack(job_, out, light=light, force=force, as_json_text=as_json_text)
        return
    if light:
        raise InputError("--light goes with --pack")
    job = SweepJob(read_recording(take), rig, BUILT_IN, path, stages=stages)
    run_sweep(job, out, force, as_json_text)
