"""Static spine of arrow shafts: measured, converted, judged and kept."""

import logging

import lazy_loader

# Whoever imports the package decides where its log goes, `base/log_file.py` for the command line: else it goes nowhere.
logging.getLogger(__name__).addHandler(logging.NullHandler())

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
