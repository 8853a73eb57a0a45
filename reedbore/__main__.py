"""``python -m reedbore`` does the same as ``reedbore``."""

import sys

from reedbore.cli import main

if __name__ == "__main__":
    sys.exit(main())
