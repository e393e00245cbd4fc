"""`python -m cli` is the same as the command `humproof`."""

import sys

from cli import main

if __name__ == "__main__":
    sys.exit(main())
