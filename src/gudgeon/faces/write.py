"""The command `write`: a program of our own to a file, if it is proven; else why there is none."""

from __future__ import annotations

import hashlib
import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from gudgeon.faces.wording import ascii_text

if TYPE_CHECKING:
    from gudgeon.findings import Findings
    from gudgeon.findings.written import Written

__all__ = ["PROGRAMS", "file_text", "program_named", "refusal_text", "start_text"]

WIDTH: Final = 80
INDENT: Final = 9

PROGRAMS: Final[Mapping[str, str]] = {
    "jog-test": "each turning axis a little and back, with stops to look",
    "warm-up": "through the safe travel, tilt and turn",
    "check-path": "over the morning's checks, with a stop at each",
}
"""What can be written, and what it does."""


def program_named(findings: Findings, name: str) -> Written:
    """Return a program by the name of `PROGRAMS`; KeyError for any other."""
    if name not in PROGRAMS:
        raise KeyError(name)
    if name == "jog-test":
        return findings.jog_test
    return findings.warm_up if name == "warm-up" else findings.check_path


def file_text(written: Written, cell: str, date: str, inputs: Sequence[tuple[str, str]]) -> str:
    """Return what is written to the file: the program under the cell's name, date and inputs.

    Parameters
    ----------
    written : Written
    cell, date : str
    inputs : sequence of (name, SHA-256)
        Files that it rests on; a few letters for all of them tell old from new.
    """
    whole = hashlib.sha256("".join(f"{name} {digest}\n" for name, digest in inputs).encode())
    return written.text_under(cell, f"Written {date}, inputs {whole.hexdigest()[:8]}")


def start_text(written: Written) -> str:
    """Return what to know before it is started: start, cautions, proof."""
    rows = [
        ("start", written.start),
        *(("caution", caution) for caution in written.cautions),
        ("proof", written.proof),
    ]
    return _labelled(rows)


def refusal_text(written: Written) -> str:
    """Return why no program is written, what would settle it, and what hands can do instead."""
    rows = [("refused", written.refused)]
    rows += [("get", f"{one.what}: {one.how_to_get_it}") for one in written.missing[:1]]
    rows += [
        (f"hand {number}", f"{order} {see}")
        for number, (order, see) in enumerate(written.by_hand, start=1)
    ]
    return _labelled(rows)


def _labelled(rows: Sequence[tuple[str, str]]) -> str:
    """Return rows with a label each, no line longer than a terminal is wide."""
    lines = []
    for label, words in rows:
        wrapped = textwrap.wrap(ascii_text(words), WIDTH - INDENT, break_on_hyphens=False)
        first, *more = wrapped or [""]
        lines += [f"{label:<{INDENT}}{first}", *(" " * INDENT + line for line in more)]
    return "\n".join(lines)
