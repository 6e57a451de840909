"""`python -m ingest` is the same as `daybox`."""

import sys

from ingest.cli import main

sys.exit(main())
