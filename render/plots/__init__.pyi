from .cleanup import plot_cleanup as plot_cleanup
from .curves import MOST_PANELS as MOST_PANELS
from .curves import plot_curves as plot_curves
from .front import plot_front as plot_front
from .guitar import guitar_svg as guitar_svg
from .wiring import wiring_svg as wiring_svg
