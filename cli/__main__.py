"""`python -m cli` is the same as the command `humproof`."""

import sys

from cli import main

sys.exit(main())
