"""So that `python -m optics` works."""

import sys

from optics.cli import main

# The processes that mark import this again, and are not to start the command again.
if __name__ == "__main__":
    sys.exit(main())
