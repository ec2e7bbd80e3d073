"""Fuzz the reader of programs: bytes and structured text, read both ways.

    python fuzz/read_program.py -runs=100000          from nothing
    python fuzz/read_program.py -runs=100000 CORPUS   keep what reaches new code in a folder

Some inputs are texts as they come, some are samples with bytes changed, some are choices that build
a program of blocks; the control gets rules at random.  Every input is read by the full and by the
compiled reader; any exception, any difference and any broken promise of a track ends the run.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

with atheris.instrument_imports(include=["gudgeon.program"]):
    from tests.program import soup

_MOST_BYTES = 600
_SECONDS = 20
"""An input that takes longer is a fault."""


def one_input(data: bytes) -> None:
    """Read one input."""
    choices = atheris.FuzzedDataProvider(data)

    def pick(count: int) -> int:
        return int(choices.ConsumeIntInRange(0, count - 1)) if count > 1 else 0

    # The control costs two bytes only, so that the search is spent on the text.
    dialect = soup.any_dialect(random.Random(pick(65_536)).randrange)
    match pick(5):
        case 0:
            text = choices.ConsumeBytes(_MOST_BYTES)
        case 1:
            text = soup.BEGIN.encode() + choices.ConsumeBytes(_MOST_BYTES)
        case 2:
            text = soup.mutated(pick, soup.SAMPLES[pick(len(soup.SAMPLES))])
        case _:
            text = soup.any_text(pick)
    soup.read_both_ways(text, dialect)


def main() -> None:
    """Run until the number of inputs is reached."""
    own = [f"-max_len={_MOST_BYTES}", "-len_control=0", f"-timeout={_SECONDS}"]
    atheris.Setup([*sys.argv, *own], one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
