"""Static spine of arrow shafts: measured, converted, judged and kept."""

import logging

# Whoever imports the package decides where its log goes, `base/log_file.py` for the command line: else it goes nowhere.
logging.getLogger(__name__).addHandler(logging.NullHandler())
