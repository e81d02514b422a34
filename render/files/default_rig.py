"""Which rig is meant where none is named."""

import os
from dataclasses import dataclass
from pathlib import Path

import click

from presolder.render.files.rig_file import DEFAULT_RIG

VARIABLE = "PRESOLDER_RIG"


@dataclass(frozen=True)
class DefaultRig:
    """The name or path of a rig, and where it was found, for people."""

    name: str
    because: str


def own_rig_file() -> Path:
    """Where a user's own rig for all commands lies, if there is one."""
    return Path(click.get_app_dir("presolder")) / "rig.toml"


def default_rig() -> DefaultRig:
    """The environment's, else the user's own file, else the built-in one."""
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        return DefaultRig(named, f"from {VARIABLE}")
    own = own_rig_file()
    if own.is_file():
        return DefaultRig(str(own), "your own for all commands")
    return DefaultRig(DEFAULT_RIG, "the built-in default")
