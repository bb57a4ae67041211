"""`python -m pipeline.cli`: the command, without being installed."""

import sys

from pipeline.cli import main

sys.exit(main())
