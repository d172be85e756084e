"""Run the command line with ``python -m triage``."""

import sys

from triage.cli import main

sys.exit(main())
