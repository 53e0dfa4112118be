"""Entry point of `benchd` and `python -m benchd`."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command on the command line and return its exit code."""
    from benchd.cli.run import run

    return run(sys.argv[1:])


if __name__ == "__main__":
    sys.exit(main())
