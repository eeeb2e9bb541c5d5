"""`python -m app` is the same as `blotter`."""

import sys

from app.cli import main

sys.exit(main())
