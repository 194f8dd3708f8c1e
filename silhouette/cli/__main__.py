"""``python -m silhouette.cli``."""

import sys

from silhouette.cli import main

sys.exit(main())
