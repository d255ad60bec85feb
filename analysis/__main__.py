"""`python -m analysis COMMAND`."""

import sys

from analysis.cli import main

sys.exit(main())
