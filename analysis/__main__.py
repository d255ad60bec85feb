"""`python -m analysis COMMAND`."""

import gc
import sys

from analysis.cli import main

# What a command makes it keeps to its end: looking for garbage among it again and again would find
# none, and take a twentieth of the time of a review.
gc.set_threshold(100_000, 50, 50)
sys.exit(main())
