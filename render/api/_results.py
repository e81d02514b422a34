"""What the functions give back, under one roof."""

from presolder.models.audio.stream import Stream
from presolder.models.instrument.dirt import Curve
from presolder.models.judging.merit import Merit
from presolder.models.judging.ranking import Scored
from presolder.models.judging.recommendation import Recommendation
from presolder.models.judging.tolerance import Builds
from presolder.models.judging.turn import Wanted
from presolder.models.judging.verdict import Need
from presolder.render.listening.audition import Audition
from presolder.render.report.batch import BatchReport
from presolder.render.report.cable import CableReport
from presolder.render.report.cleanup import CleanupReport
from presolder.render.report.curves import Curves
from presolder.render.report.figures import Comparison
from presolder.render.report.health import HealthReport
from presolder.render.report.need import NeedReport
from presolder.render.report.orders import OrderList
from presolder.render.report.pickup import PickupReport
from presolder.render.report.search import SearchReport
from presolder.render.report.sheet import Sheet
from presolder.render.report.starter import StarterReport
from presolder.render.report.taper import TaperReport
from presolder.render.report.travel import TravelReport
from presolder.render.report.verify import VerifyReport

__all__ = [
    "Audition",
    "BatchReport",
    "Builds",
    "CableReport",
    "CleanupReport",
    "Comparison",
    "Curve",
    "Curves",
    "HealthReport",
    "Merit",
    "Need",
    "NeedReport",
    "OrderList",
    "PickupReport",
    "Recommendation",
    "Scored",
    "SearchReport",
    "Sheet",
    "StarterReport",
    "Stream",
    "TaperReport",
    "TravelReport",
    "VerifyReport",
    "Wanted",
]
