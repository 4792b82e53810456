"""`python -m armwright`."""

import sys

from .addon.cli.main import main

if __name__ == "__main__":
    main(sys.argv[1:])
