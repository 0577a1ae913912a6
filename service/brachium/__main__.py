"""Runs the command line: ``python -m brachium``."""

import sys

from brachium.cli import main

sys.exit(main())
