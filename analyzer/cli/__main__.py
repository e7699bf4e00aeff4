"""`python -m analyzer.cli` is the `evenboard` command."""

import sys

from analyzer.cli import main

sys.exit(main())
