"""`python -m monitor` is `sorbwatch`."""

import sys

from monitor.cli import main

sys.exit(main())
