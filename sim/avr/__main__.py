"""`make firmware`: builds the 8-bit board's firmware for each speed and prints what it takes."""

from __future__ import annotations

import shutil
import sys

from sim.avr import budget, tools
from sim.avr.stack import StackError
from sim.build_core import FIRMWARE, ROOT, BuildError

PLACE = FIRMWARE / "board" / "build"


def main() -> int:
    """Build everything into PLACE; 1 with a sentence where that fails or a budget is exceeded."""
    status = 0
    try:
        for baud in tools.BAUDS:
            elf = tools.firmware(baud)
            PLACE.mkdir(exist_ok=True)
            for made in (elf, elf.with_suffix(".hex")):
                shutil.copy2(made, PLACE)
                print((PLACE / made.name).relative_to(ROOT))
            use = budget.measure(elf)
            print("\n".join(f"  {line}" for line in budget.lines(use)))
            for sentence in budget.breaches(use):
                print(sentence, file=sys.stderr)
                status = 1
    except (BuildError, StackError) as error:
        print(error, file=sys.stderr)
        return 1
    return status


if __name__ == "__main__":
    raise SystemExit(main())
