"""The equations of a rig: of the chain under audition, and of the one a take was made with."""

from dataclasses import replace

from presolder.models.circuit.assembly import Descriptor, assemble
from presolder.models.circuit.chain import Chain, control_chain
from presolder.models.circuit.junctions import junctions_of, linearised
from presolder.models.circuit.rest import resting
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig


def chain_equations(rig: Rig, network: Network | None) -> Descriptor:
    """Equations of the chain under audition, EMF to output.

    Of a stage that it feeds, for signals too small to move its working point.
    """
    return small_signal(rig, control_chain(rig, network))


def small_signal(rig: Rig, chain: Chain) -> Descriptor:
    """Equations of a chain of the rig, the junctions of its stage replaced by their slopes."""
    descriptor = assemble(chain.branches)
    if rig.load.stage is None:
        return descriptor
    junctions = junctions_of(chain.devices, descriptor.drive.size)
    volts = resting(rig.load.stage).junction_volts
    return replace(descriptor, fixed=linearised(descriptor, junctions, volts))


def take_equations(rig: Rig) -> Descriptor | None:
    """Equations of the chain as it stood while the take was recorded.

    The volume stood at ``rig.take.dial``. None if the take is the EMF itself.
    """
    if rig.take.rig is None:
        return None
    return chain_equations(rig.take.rig, rig.take.network)
