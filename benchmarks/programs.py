"""Reading programs: pieces for `ratios`, with the plain reader that they are measured against."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np

from gudgeon.program import fast
from gudgeon.program.dialect import Dialect, Meaning
from gudgeon.program.reader import read
from gudgeon.program.state import State
from gudgeon.program.track import InForce, Rows, Track

LINES = 1_000_000
ZERO = (100.0, -50.0, -300.0, 0.0, 0.0)
DIALECT = Dialect(
    offsets={"G54": ZERO, "G55": ZERO},
    missing_point="unit",
    start=(0.0,) * 5,
    after_cycle_off="motion before",
    dwell_p="s",
)
HEAD = b"G21G17G90G94G40G49G54\nG0X0.Y0.Z50.\nG1F500.\n"

_WORD = re.compile(r"([A-Za-z])\s*([-+]?(?:\d+\.?\d*|\.\d+))")
_COMMENT = re.compile(r"\([^()]*\)")
_AXES = {"X": 0, "Y": 1, "Z": 2}


def plain_text(lines: int, hard: float = 0.0, seed: int = 1) -> bytes:
    """Write the lines of a milled surface, some of them (a share) beyond plain blocks."""
    draws = np.random.default_rng(seed)
    at = draws.uniform(-300.0, 300.0, (lines, 3))
    kinds = draws.integers(10, size=lines)
    odd = draws.random(lines) < hard
    beyond = ("M8", "#1=1.+2.", "G81Z-5.R60.F100.\nG80G1F500.", "G55\nG1", "S900", "G4P1.\nG1")
    written = []
    for number, ((x, y, z), kind) in enumerate(zip(at.tolist(), kinds.tolist(), strict=True)):
        if odd[number]:
            written.append(beyond[number % len(beyond)])
        elif kind == 0:
            written.append(f"G1X{x:.3f}Y{y:.3f}F{300 + number % 700}.")
        elif kind == 1:
            written.append(f"G0 Z{z:.1f}")
        elif kind == 2:
            written.append(f"N{number % 100_000} G1 X{x:.3f} Y{y:.3f} Z{z:.2f}")
        elif kind < 6:
            written.append(f"X{x:.3f} Y{y:.3f}")
        else:
            written.append(f"X{x:.3f} Y{y:.3f} Z{z:.3f}")
    return HEAD + "\n".join(written).encode() + b"\nM30\n"


def words(line: str) -> list[tuple[str, float, int]]:
    """Return letter, number and column of each word of a line, comments left out."""
    if "(" in line:
        line = _COMMENT.sub(lambda found: " " * len(found[0]), line)
    return [(word[1].upper(), float(word[2]), word.start() + 1) for word in _WORD.finditer(line)]


def read_by_re(text: str) -> list[tuple[float, float, float, float, int, int, int]]:
    """Read motion as a plain Python reader does: one expression finds the words of a line.

    Knows lines and rapids, units, distance modes and a work offset, and passes over everything
    else; the least that is of use.  Returns X, Y, Z, feed, line, column and motion of each block
    that moves.
    """
    rows: list[tuple[float, float, float, float, int, int, int]] = []
    here = [0.0, 0.0, 0.0]
    motion, feed, unit, absolute = 0, 0.0, 1.0, True
    zero = ZERO
    for number, line in enumerate(text.splitlines(), 1):
        column = 0
        target = None
        for letter, value, place in words(line):
            axis = _AXES.get(letter)
            if axis is not None:
                if target is None:
                    target, column = here.copy(), place
                target[axis] = value * unit + (zero[axis] if absolute else here[axis])
            elif letter == "G":
                if value in (0.0, 1.0):
                    motion = int(value)
                elif value in (20.0, 21.0):
                    unit = 25.4 if value == 20.0 else 1.0
                elif value in (90.0, 91.0):
                    absolute = value == 90.0
            elif letter == "F":
                feed = value
        if target is not None:
            here = target
            rows.append((*here, feed if motion else 0.0, number, column, motion))
    return rows


def begun() -> State:
    force = InForce(unit="mm", absolute=True, plane=0, offset="G54", offset_values=ZERO)
    return State(position=[0.0] * 5, force=force, motion=Meaning.RAPID)


def read_plain(data: np.ndarray) -> Rows:
    """Scan and segments alone, no file, no full reader."""
    rows = Rows()
    fast.run_plain(
        data, 0, 1, begun(), DIALECT, rows, blocks_limit=10**9, rows_limit=DIALECT.limits.rows
    )
    return rows


def same_positions(segments: np.ndarray, rows: list[tuple[float, ...]]) -> None:
    """Both readers give the same, or the ratio means nothing."""
    by_re = np.array(rows)
    np.testing.assert_array_equal(segments["end"][:, :3], by_re[:, :3])
    np.testing.assert_array_equal(segments["line"], by_re[:, 4])
    np.testing.assert_array_equal(segments["column"], by_re[:, 5])
    np.testing.assert_allclose(segments["feed"] * 60.0, by_re[:, 3], rtol=1e-15)


def body(text: bytes) -> bytes:
    """Leave out the head, whose words the modes of `begun` stand for, and the end."""
    return b"G1F500.\n" + text[len(HEAD) : -len(b"M30\n")]


def read_mixed(text: bytes) -> Track:
    track = read(text, DIALECT, quick=True)
    assert track.worst is None, track.worst
    return track


_BY_THE_SYSTEM = """
import sys
from programs import DIALECT, HEAD, read

def kilobytes(name):
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith(name))

text = open(sys.argv[1], "rb").read()
read(text[: len(HEAD)] + b"M30\\n", DIALECT, quick=True)
before = kilobytes("VmRSS")
track = read(text, DIALECT, quick=True)
print((kilobytes("VmHWM") - before) * 1024 / len(track.segments))
"""


def memory() -> str:
    """Bytes a segment at the highest, beyond the text and a reader that is already there."""
    text = plain_text(LINES)
    read_mixed(HEAD + b"M30\n")
    tracemalloc.start()
    track = read_mixed(text)
    highest = tracemalloc.get_traced_memory()[1] / len(track.segments)
    tracemalloc.stop()
    told = ""
    if sys.platform == "linux":
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "plain.nc"
            file.write_bytes(text)
            done = subprocess.run(
                [sys.executable, "-c", _BY_THE_SYSTEM, str(file)],
                cwd=Path(__file__).parent,
                capture_output=True,
                text=True,
                check=True,
            )
        told = f"; by the system's count {float(done.stdout):.0f}"
    return (
        f"{'memory a segment, peak':<34}{highest:>6.0f} bytes   "
        f"(limit 200{told}; the text {len(text) / LINES:.0f} more)"
    )


def cold_start() -> str:
    """Read a program of 1,000 lines in a new interpreter; the median of five after a first.

    The modules are compiled to byte code by the first run, as an installation has them.
    """
    text = plain_text(1000, hard=0.05)
    cell = Path(__file__).parents[1] / "demo" / "alder-ford.toml"
    taken = []
    settings = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "short.nc"
        file.write_bytes(text)
        for _ in range(6):
            start = time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-m", "gudgeon", "read", str(file), str(cell)],
                capture_output=True,
                text=True,
                check=False,
                env=settings,
            )
            taken.append(time.perf_counter() - start)
    if "invalid choice" in done.stderr:
        return f"{'gudgeon read, 1,000 lines, cold':<34}   not there yet"
    return f"{'gudgeon read, 1,000 lines, cold':<34}{sorted(taken[1:])[2]:>10.2f} s    (limit 1)"
