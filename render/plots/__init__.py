"""Results as pictures, loaded when the first one is drawn: matplotlib takes a while."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
