"""Run the terminal face with ``python -m gudgeon``."""

import sys

from gudgeon.faces.terminal import main

if __name__ == "__main__":
    sys.exit(main())
