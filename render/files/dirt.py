"""What a rig file listens through: its `[dirt]`."""

from pathlib import Path

from presolder.models.circuit.rest import resting
from presolder.models.errors import InputError, place
from presolder.models.instrument.dirt import ANY_KINDS, AnyDirt, Curve, Dirt, dirt_of
from presolder.models.instrument.pedal import Pedal, read_pedal
from presolder.models.instrument.stage import Stage
from presolder.render.files.points import read_points
from presolder.render.files.toml import Section, read_text

FUZZ_WAS_RENAMED = (
    "'fuzz' is now 'lopsided-10k', the same curve; 'germanium-fuzz' and 'silicon-fuzz' are circuits"
)


def read_dirt(section: Section, folder: Path) -> AnyDirt:
    """A `[dirt]` section: a clipping curve, or a circuit.

    Parameters
    ----------
    section : Section
    folder : Path
        From where a file of a curve's points is named.
    """
    section.required("kind")
    file = section.table["kind"]
    if isinstance(file, str) and file.endswith(".cir"):
        return _read_stage(section, Stage.as_drawn(_pedal(folder / file)))
    if isinstance(file, str) and file.endswith(".csv"):
        return _read_curve(section, read_curve(folder / file))
    if section.table["kind"] == "fuzz":
        raise InputError(f"kind = {FUZZ_WAS_RENAMED}")
    kind = section.choice("kind", ANY_KINDS, "smooth")
    stage = dirt_of(kind)
    if isinstance(stage, Dirt):
        return _read_curve(section, stage)
    return _read_stage(section, stage)


def _read_curve(section: Section, plain: Dirt) -> Dirt:
    section.only("kind", "drive", "pre_hz", "post_hz", "level_db")
    return Dirt(
        plain.kind,
        section.number("drive", plain.drive_db),
        section.number("pre_hz", plain.pre_hz),
        section.number("post_hz", plain.post_hz),
        section.number("level_db", plain.level_db),
    )


def _read_stage(section: Section, plain: Stage) -> Stage:
    control = plain.pedal.control
    knobs = [control if knob == "control" else knob for knob, _ in plain.pedal.knobs]
    section.only("kind", *(knob for knob in knobs if knob), "touch_db", "level_db")
    return Stage(
        plain.kind,
        section.number(control, plain.control) if control else plain.control,
        section.number("bias", plain.bias),
        section.number("supply", plain.supply_volts),
        section.quantity("battery", "ohm", plain.battery_ohms),
        section.number("touch_db", plain.touch_db),
        section.number("level_db", plain.level_db),
    )


def read_dirt_file(path: Path) -> AnyDirt:
    """A dirt of one's own: a curve (CSV), or a circuit (a netlist, ``.cir``).

    Raises
    ------
    InputError
        If the file cannot be read, or is no such thing.
    """
    return Stage.as_drawn(_pedal(path)) if path.suffix.lower() == ".cir" else read_curve(path)


def _pedal(path: Path) -> Pedal:
    text = read_text(path)
    with place(str(path)):
        pedal = read_pedal(text, path.stem)
        resting(Stage.as_drawn(pedal))
    return pedal


def read_curve(path: Path) -> Dirt:
    """A clipping curve of one's own from a CSV file of volts_in,volts_out.

    Raises
    ------
    InputError
        If the file cannot be read, or is no such curve.
    """
    points = read_points(path, ("volts_in", "volts_out"))
    with place(str(path)):
        return Dirt(Curve(tuple((given, out) for given, out in points), path.stem))
