"""`python -m analysis COMMAND`."""

import gc
import sys

from analysis.cli import main
from analysis.second_process import GARBAGE_SELDOM

gc.set_threshold(*GARBAGE_SELDOM)
sys.exit(main(two_processes=True))
