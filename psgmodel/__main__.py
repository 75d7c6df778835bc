"""``python -m psgmodel``: the same as the command ``psgmodel``."""

import sys

from psgmodel.cli.entry import main

sys.exit(main())
