"""The equations of a rig: of the chain under audition, and of the one a take was made with."""

from presolder.models.circuit.assembly import Descriptor, assemble
from presolder.models.circuit.branch import Branch, Device
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.junctions import junctions_of, linearised
from presolder.models.circuit.rest import resting
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage


def chain_equations(rig: Rig, network: Network | None) -> Descriptor:
    """Equations of the chain under audition, EMF to output.

    Of a stage that it feeds, for signals too small to move its working point.
    """
    chain = control_chain(rig, network)
    return small_signal(chain.branches, chain.devices, rig.load.stage)


def small_signal(
    branches: tuple[Branch, ...], devices: tuple[Device, ...], stage: Stage | None
) -> Descriptor:
    """Equations of a circuit, the junctions of the stage that it feeds replaced by their slopes."""
    descriptor = assemble(branches)
    if stage is None:
        return descriptor
    junctions = junctions_of(devices, descriptor.size)
    return linearised(descriptor, junctions, resting(stage).junction_volts)


def take_equations(rig: Rig) -> Descriptor | None:
    """Equations of the chain as it stood while the take was recorded.

    The volume stood at ``rig.take.dial``. None if the take is the EMF itself.
    """
    if rig.take.rig is None:
        return None
    return chain_equations(rig.take.rig, rig.take.network)
