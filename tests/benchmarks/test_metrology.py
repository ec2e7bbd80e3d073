"""The report on simulated shops, on a few cells of each section."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from benchmarks.metrology import Block, added, blocks_of, module, put, seed_of, totals_of, work
from benchmarks.metrology_told import share, table, wilson, within

from benchmarks import (
    metrology,
    metrology_accurate,
    metrology_bad_rows,
    metrology_coverage,
    metrology_drift,
)
from gudgeon.accuracy.job import Factor, Sizes
from tests.accuracy.jobs import opposite_faces

FEW = {
    "coverage": ("hand and three touches", "one axis"),
    "bad_rows": ("one mistake of the catalogue", "clean", metrology_bad_rows.TWIN),
    "plans": ("after the hand procedure", "one ball at turn 0 and 180 only"),
    "drift": ("plain",),
    "accurate": tuple(metrology_accurate.SETTINGS),
}


@pytest.mark.parametrize("section", FEW)
@pytest.mark.filterwarnings("ignore:divide by zero", "ignore:invalid value")
def test_a_section_runs_alone_with_a_smaller_count(section: str) -> None:
    done = {}
    for block in blocks_of(section, 1, FEW[section]):
        assert block.cells == 1
        done[block.key] = json.loads(json.dumps(work(block)))
    totals = totals_of(section, done)
    assert sorted(totals) == sorted(FEW[section])
    told = module(section).tell(totals)
    assert told.startswith("## ")
    for setting in FEW[section]:
        assert f"| {setting} | 1 |" in told


def test_the_same_block_gives_the_same_counts_and_another_does_not() -> None:
    blocks = [Block("coverage", "balls", n, 6) for n in (0, 0, 1, 2)]
    one, same, *others = (work(block) for block in blocks)
    assert one == same
    assert any(one != other for other in others)
    assert len({seed_of(block) for block in blocks}) == 3


def test_sections_and_settings_have_seeds_of_their_own() -> None:
    seeds = [
        seed_of(Block(section, setting, 0, 1))
        for section in metrology.SECTIONS
        for setting in module(section).SETTINGS
    ]
    assert len(set(seeds)) == len(seeds)


def test_settings_asked_for_by_the_job_are_there() -> None:
    assert len(metrology_coverage.SETTINGS) >= 8
    assert metrology_coverage.CELLS >= 2000
    assert any("1.5" in name for name in metrology_coverage.SETTINGS)
    cells = sum(b.cells for b in blocks_of("coverage", None, ["balls"]))
    assert cells == metrology_coverage.CELLS


def test_blocks_add_up() -> None:
    one, other = {"cells": 2, "a": [1, 2]}, {"cells": 3, "a": [3, 5], "b": 1}
    assert added(one, other) == {"cells": 5, "a": [4, 7], "b": 1}


def test_shares_have_the_published_interval() -> None:
    # Wilson 1927; 5 of 10 and 0 of 10 by the closed form.
    assert wilson(5, 10) == pytest.approx((0.2366, 0.7634), abs=1e-4)
    assert wilson(0, 10) == pytest.approx((0.0, 0.2775), abs=1e-4)
    assert share(950, 1000) == "95.0 (93.5 to 96.2)"
    assert share(0, 0) == "none counted"


@pytest.mark.parametrize(
    ("hits", "of", "told"),
    [
        (1900, 2000, "kept"),
        (93, 100, "kept, not surely"),
        (92, 100, "**missed**, not surely"),
        (1700, 2000, "**missed**"),
        (1990, 2000, "**missed**"),
        (0, 0, "**missed**, not surely"),
    ],
)
def test_a_missed_goal_is_told(hits: int, of: int, told: str) -> None:
    assert within(hits, of, 0.93, 0.97) == told


def test_steps_that_nobody_declares_are_counted_as_missed(monkeypatch) -> None:
    quiet = metrology_drift.simulate.Counts(2, 0, 0, 0, 0, ())
    monkeypatch.setattr(metrology_drift.simulate, "simulate", lambda *_: quiet)
    counts = metrology_drift.run("plain", 2, (1,))
    told = metrology_drift.tell({"plain": {"cells": 2000, **counts}})
    assert "| 0.0 (0.0 to 0.2) | **missed** | - and - | none counted |" in told


def test_bad_rows_that_nobody_calls_bad_are_counted_as_missed(monkeypatch) -> None:
    monkeypatch.setattr(metrology_bad_rows, "find_suspects", lambda *_, **__: ())
    counts = metrology_bad_rows.run("one mistake of the catalogue", 2, (1, 2, 3))
    assert counts["found"] == counts["named"] == counts["alone"] == 0
    told = metrology_bad_rows.tell({"one mistake of the catalogue": {"cells": 2000, **counts}})
    assert "**missed**" in told


def test_intervals_half_as_wide_are_told_as_missed(monkeypatch) -> None:
    real = metrology_coverage.coverage.fit_lines

    def sharp(*words, **more):
        from dataclasses import replace

        fit = real(*words, **more)
        return replace(fit, covariance=fit.covariance / 9.0)

    monkeypatch.setattr(metrology_coverage.coverage, "fit_lines", sharp)
    counts = metrology_coverage.run("balls", 40, (1,))
    assert "**missed** |" in metrology_coverage.tell({"balls": {"cells": 40, **counts}})


class Scripted:
    """Chance that gives the same number to a whole draw, one after the other."""

    def __init__(self, *numbers: float) -> None:
        self.numbers = list(numbers)

    def normal(self, *, size):
        return np.full(size, self.numbers.pop(0))

    def uniform(self, low, high, size):
        return np.zeros(size)


def test_parts_cut_in_the_simulation_follow_the_closed_form() -> None:
    # The tilt line 0.010 higher than believed: each of two opposite faces is cut too deep by it.
    factor = Factor("lines", np.array([[0.0], [0.010], [0.0], [0.0], [0.0]]))
    one = opposite_faces(factors=(factor,))
    error = metrology_accurate.simulated(one, metrology_accurate.WIDTH, Scripted(*[1.0] * 8), 1)
    assert error[0, 0] == pytest.approx(-0.020, abs=1e-9)


def test_an_index_error_in_the_simulation_counts_with_its_lever() -> None:
    # Faces 50 over the tilt line; one tilt stops short by 10 arc seconds, the other beyond.
    turn = math.radians(10.0 / 3600.0)
    nothing = (Factor("lines", np.zeros((5, 1))),)
    one = opposite_faces(factors=nothing, sizes=Sizes(index_u=(turn, 0.0)))
    script = Scripted(0.0, 0.0, 1.0, 0.0, 0.0, -1.0, 0.0, 0.0)
    error = metrology_accurate.simulated(one, metrology_accurate.WIDTH, script, 1)
    assert error[0, 0] == pytest.approx(-100.0 * turn, rel=1e-4)


def test_a_page_keeps_what_was_not_run() -> None:
    page = put(put("# Title\n\nWords.\n", "drift", "old drift"), "speed", "old speed")
    page = put(page, "drift", "new \\1 drift")
    assert page.startswith("# Title\n\nWords.\n")
    assert "new \\1 drift" in page and "old drift" not in page and "old speed" in page
    assert put(page, "drift", "new \\1 drift") == page


def test_a_report_is_made_from_what_was_kept(tmp_path, capsys) -> None:
    keep, page = tmp_path / "counts.json", tmp_path / "page.md"
    blocks = blocks_of("accurate", 1, [metrology_accurate.WIDTH])
    keep.write_text(json.dumps({b.key: work(b) for b in blocks}), encoding="utf-8")
    words = ["accurate", "--cells", "1", "--settings", metrology_accurate.WIDTH]
    assert metrology.main([*words, "--keep", str(keep), "--to", str(page)]) == 0
    assert metrology_accurate.WIDTH in page.read_text(encoding="utf-8")
    assert "no more" in capsys.readouterr().out
    with pytest.raises(SystemExit):
        metrology.main(["nothing"])
    with pytest.raises(SystemExit):
        metrology.main(["drift", "--settings", "plain; nothing"])
    assert metrology.main(["--list"]) == 0


def test_a_table_is_markdown() -> None:
    assert table(["a", "b"], [["1", "2"]]) == "| a | b |\n|---|---|\n| 1 | 2 |"
