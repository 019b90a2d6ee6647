"""So that `python -m optics` works."""

import sys

from optics.cli import main

sys.exit(main())
