"""A rig as plain values, for manifests and JSON."""

import math
from dataclasses import asdict, replace
from typing import Any

from presolder.models.network import format_network
from presolder.models.rig import Rig


def rig_values(rig: Rig) -> dict[str, Any]:
    """Every value of a rig but its dirt; what is infinite is None, networks are expressions."""
    values = asdict(replace(rig, dirt=None))
    del values["dirt"]
    if math.isinf(rig.load.resistance_ohms):
        values["load"]["resistance_ohms"] = None
    if rig.take.input_ohms is not None and math.isinf(rig.take.input_ohms):
        values["take"]["input_ohms"] = None
    values["take"]["network"] = format_network(rig.take.network) or None
    if rig.second is not None and rig.second.network != "same":
        values["second"]["network"] = format_network(rig.second.network) or None
    return values
