"""Figures of centre finding, accuracy and drift on simulated shops whose truth is known.

    python -m benchmarks.metrology [section ...] [--cells N] [--settings "a;b"] [--seconds S]
                                   [--keep FILE] [--to docs/metrology.md] [--list]

Every section is a handful of settings; every setting is run in blocks of cells, each block from a
seed of its own: (number of the section, number of the setting, number of the block).  The same
blocks give the same figures, on one processor or two.  `--seconds` begins no new block after that
time, `--keep` adds to what was counted before, `--to` puts the tables into a file, each between its
own marks; the sections that were not run stay as they are there.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import re
import sys
import time
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, Protocol

import numpy as np

PROCESSES = 2
SECTIONS = ("coverage", "bad_rows", "plans", "drift", "accurate", "speed")
"""In the order in which they are told; the modules are called ``metrology_<name>``."""

Counts = dict[str, Any]
"""Name -> number or nested lists of numbers; blocks add up."""


class Section(Protocol):
    """What a module of a section holds.

    ``SETTINGS`` are the names of its settings, ``BLOCK`` the cells of one block, ``CELLS`` those
    of a whole report; ``run`` simulates one block, ``tell`` writes the sums as Markdown.
    """

    SETTINGS: Sequence[str]
    BLOCK: int
    CELLS: int

    def run(self, setting: str, cells: int, seed: tuple[int, ...]) -> Counts: ...

    def tell(self, totals: Mapping[str, Counts]) -> str: ...


@dataclass(frozen=True)
class Block:
    """One piece of work."""

    section: str
    setting: str
    number: int
    cells: int

    @property
    def key(self) -> str:
        return f"{self.section}/{self.setting}/{self.number}/{self.cells}"


def module(section: str) -> Section:
    """Return the module of a section."""
    return import_module(f"benchmarks.metrology_{section}")  # type: ignore[return-value]


def seed_of(block: Block) -> tuple[int, ...]:
    """Return the seed of a block."""
    names = list(module(block.section).SETTINGS)
    return SECTIONS.index(block.section), names.index(block.setting), block.number


def work(block: Block) -> Counts:
    """Simulate one block."""
    with np.errstate(divide="ignore", invalid="ignore"):
        counts = module(block.section).run(block.setting, block.cells, seed_of(block))
    return {"cells": block.cells, **counts}


def added(one: Counts, other: Counts) -> Counts:
    """Return the sums of two blocks; what only one of them has stays."""
    total = dict(one)
    for name, value in other.items():
        total[name] = np.add(total[name], value).tolist() if name in total else value
    return total


def blocks_of(section: str, cells: int | None, settings: Iterable[str]) -> list[Block]:
    """Return the blocks of a section, all settings in turn."""
    part = module(section)
    wanted = list(settings) or list(part.SETTINGS)
    count = part.CELLS if cells is None else cells
    size = min(part.BLOCK, count)
    return [
        Block(section, setting, number, size)
        for number in range(-(-count // size))
        for setting in part.SETTINGS
        if setting in wanted
    ]


def simulate(
    blocks: Sequence[Block], seconds: float, done: dict[str, Counts], keep: Path | None = None
) -> dict[str, Counts]:
    """Run blocks over two processes and return the counts of each by its key."""
    left = [block for block in blocks if block.key not in done][::-1]
    begin = told = time.monotonic()
    count, whole = 0, len(left)
    if not left:
        return done
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(PROCESSES, mp_context=context) as pool:
        running: dict[Future[Counts], Block] = {}
        while left or running:
            late = time.monotonic() - begin > seconds
            while left and not late and len(running) < PROCESSES:
                block = left.pop()
                running[pool.submit(work, block)] = block
            if not running:
                break
            for one in wait(running, return_when=FIRST_COMPLETED).done:
                done[running.pop(one).key] = one.result()
                count += 1
            if time.monotonic() - told > 10.0:
                told = time.monotonic()
                _keep(keep, done)
                print(f"{count} of {whole} blocks, {told - begin:.0f} s", file=sys.stderr)
    _keep(keep, done)
    return done


def _keep(keep: Path | None, done: Mapping[str, Counts]) -> None:
    if keep is not None:
        beside = keep.with_suffix(".new")
        beside.write_text(json.dumps(done), encoding="utf-8")
        beside.replace(keep)


def totals_of(section: str, done: Mapping[str, Counts]) -> dict[str, Counts]:
    """Return the sums of each setting of a section, in order."""
    totals: dict[str, Counts] = {}
    for setting in module(section).SETTINGS:
        start = f"{section}/{setting}/"
        for key in sorted(key for key in done if key.startswith(start)):
            totals[setting] = added(totals.get(setting, {}), done[key])
    return totals


def put(text: str, section: str, told: str) -> str:
    """Return a page with the part of one section replaced, or added at its end."""
    first, last = f"<!-- {section} -->", f"<!-- end of {section} -->"
    part = f"{first}\n{told.strip()}\n{last}"
    if first not in text:
        return f"{text.rstrip()}\n\n{part}\n"
    pattern = re.compile(f"{re.escape(first)}.*?{re.escape(last)}", re.DOTALL)
    return pattern.sub(lambda _: part, text)


def main(words: Sequence[str] | None = None) -> int:
    """Run the sections named, or all."""
    said = argparse.ArgumentParser(prog="python -m benchmarks.metrology")
    said.add_argument("sections", nargs="*", metavar="section", help=", ".join(SECTIONS))
    said.add_argument("--cells", type=int, help="cells of each setting; left out: a whole report")
    said.add_argument("--settings", default="", help="some settings, with semicolons between")
    said.add_argument("--seconds", type=float, default=float("inf"))
    said.add_argument("--keep", type=Path, help="file of counts to go on from")
    said.add_argument("--to", type=Path, help="page to put the tables into")
    said.add_argument("--list", action="store_true", help="name the settings and stop")
    asked = said.parse_args(words)
    wrong = [name for name in asked.sections if name not in SECTIONS]
    if wrong:
        said.error(f"no section {', '.join(wrong)}; there are {', '.join(SECTIONS)}")
    sections = asked.sections or list(SECTIONS)
    if asked.list:
        for section in sections:
            print(f"{section}: {'; '.join(module(section).SETTINGS)}")
        return 0
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    done: dict[str, Counts] = {}
    if asked.keep is not None and asked.keep.is_file():
        done = json.loads(asked.keep.read_text(encoding="utf-8"))
    settings = [name.strip() for name in asked.settings.split(";") if name.strip()]
    there = [name for section in sections for name in module(section).SETTINGS]
    if not set(settings) <= set(there):
        said.error(f"no such setting; there are {'; '.join(there)}")
    blocks = [b for name in sections for b in blocks_of(name, asked.cells, settings)]
    simulate(blocks, asked.seconds, done, asked.keep)
    for section in sections:
        totals = totals_of(section, done)
        if not totals:
            continue
        told = module(section).tell(totals)
        print(told + "\n")
        if asked.to is not None:
            page = asked.to.read_text(encoding="utf-8") if asked.to.is_file() else "# Figures\n"
            asked.to.write_text(put(page, section, told), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
