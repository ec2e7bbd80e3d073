"""What a load consists of: jobs, their ways, what comes first; and where the parts are loaded."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from gudgeon.cell.model import Cell, Fixture, Operation, Part, Station, Unit
from gudgeon.findings.gather import Lacking
from gudgeon.findings.jobs import OTHER_FACE, OWN, SECOND, JobFindings, JobsFinding
from gudgeon.findings.sheets import seats
from tests.questions.trunnions import FACES, STATIONS, cell, deg, point


def cut(name: str, tool: int = 1, face: str | None = "front", **more: Any) -> Operation:
    return Operation(name=name, tool=tool, face=face, **more)


def shop(*operations: Operation, **changes: Any) -> Cell:
    return cell(operations=operations, **changes)


def found(*operations: Operation, **changes: Any) -> JobsFinding:
    return JobFindings(shop(*operations, **changes)).jobs


def lacking(*operations: Operation, **changes: Any) -> list[str]:
    with pytest.raises(Lacking) as caught:
        _ = found(*operations, **changes)
    return [item.where for item in caught.value.missing]


# --- which jobs there are -----------------------------------------------------------------------


def test_an_operation_is_cut_at_every_station_that_holds_its_part() -> None:
    jobs = found(cut("mill"), cut("drill", 2, "top")).jobs
    assert [(job.operation, job.station, job.tool) for job in jobs] == [
        *(("mill", str(k), 1) for k in (1, 2, 3, 4)),
        *(("drill", str(k), 2) for k in (1, 2, 3, 4)),
    ]


def test_an_empty_station_is_skipped() -> None:
    stations = (STATIONS[0], replace(STATIONS[1], empty=True), *STATIONS[2:])
    loaded = found(cut("mill"), stations=stations)
    assert [job.station for job in loaded.jobs] == ["1", "3", "4"]
    assert loaded.empty == ("2",)
    assert loaded.stations == ("1", "3", "4")


def test_an_operation_may_name_its_stations_and_a_station_its_faces() -> None:
    assert [job.station for job in found(cut("mill", stations=("3",))).jobs] == ["3"]
    stations = (replace(STATIONS[0], faces=("top",)), *STATIONS[1:])
    assert [job.station for job in found(cut("mill"), stations=stations).jobs] == ["2", "3", "4"]


def test_each_station_gets_the_operations_of_its_own_part() -> None:
    parts = (Part(name="left", faces=FACES), Part(name="right", faces=FACES))
    stations = tuple(
        replace(station, part=name)
        for station, name in zip(STATIONS, ("left", "right", "left", "right"), strict=True)
    )
    jobs = found(cut("mill", part="right"), parts=parts, stations=stations).jobs
    assert [(job.station, job.part) for job in jobs] == [("2", "right"), ("4", "right")]


def test_an_operation_that_is_cut_nowhere_is_told() -> None:
    stations = (replace(STATIONS[0], empty=True), *STATIONS[1:])
    loaded = found(cut("mill"), cut("face", stations=("1",)), stations=stations)
    assert {job.operation for job in loaded.jobs} == {"mill"}
    assert any('"face" is cut at no station' in text for text in loaded.told)


# --- ways ----------------------------------------------------------------------------------------


def test_the_own_way_is_that_of_the_work_offset() -> None:
    job = found(cut("mill")).jobs[1]
    zeros = JobFindings(shop(cut("mill"))).offsets.zeros
    zero = next(zero for zero in zeros if (zero.station, zero.face) == ("2", "front"))
    (way,) = job.ways
    assert (way.kind, way.word, way.point_mm) == (OWN, zero.word, zero.point_mm)
    assert way.angles_rad == pytest.approx((math.pi / 2, 0.0))


def test_another_face_lends_its_pose_and_its_offset() -> None:
    job = found(cut("chamfer", other_poses=("top",))).jobs[0]
    assert [way.kind for way in job.ways] == [OWN, OTHER_FACE]
    assert job.ways[1].angles_rad == pytest.approx((0.0, 0.0))
    assert job.ways[1].word != job.ways[0].word


def test_the_second_pose_stands_by_until_the_operation_names_its_own_face() -> None:
    """By hand: A90 C0 and A-90 C180 both bring the front of the part up."""
    unit = replace(cell().unit, tilt_range=(deg(-95), deg(95)))
    job = found(cut("mill"), unit=unit).jobs[1]
    assert [way.kind for way in job.spare] == [SECOND]
    assert job.spare[0].angles_rad == pytest.approx((-math.pi / 2, math.pi))
    free = found(cut("mill", other_poses=("front",)), unit=unit).jobs[1]
    assert [way.kind for way in free.ways] == [OWN, SECOND]
    assert free.spare == ()
    assert free.ways[1].word is None


def test_the_zero_of_a_second_pose_is_the_same_point_of_the_part() -> None:
    unit = replace(cell().unit, tilt_range=(deg(-95), deg(95)))
    findings = JobFindings(shop(cut("mill"), unit=unit))
    chain = findings.axis_lines.chain
    for job in findings.jobs.jobs:
        for way in (*job.ways, *job.spare):
            back = np.linalg.inv(chain.matrices(way.angles_rad))
            assert way.point_mm is not None
            local = back @ [*way.point_mm, 1.0]
            own = np.linalg.inv(chain.matrices(job.ways[0].angles_rad)) @ [
                *(job.ways[0].point_mm or ()),
                1.0,
            ]
            assert local == pytest.approx(own, abs=1e-7)


def test_a_pose_beyond_the_limits_is_no_way() -> None:
    unit = replace(cell().unit, tilt_range=(deg(-20), deg(20)))
    loaded = found(cut("mill"), cut("top", face="top"), unit=unit)
    assert {job.operation for job in loaded.jobs} == {"top"}
    assert [name for name, _ in loaded.unreached] == [f"mill at {k}" for k in (1, 2, 3, 4)]
    assert "beyond" in loaded.unreached[0][1]


def test_an_operation_may_state_its_pose_instead_of_a_face() -> None:
    job = found(cut("mill", face=None, pose=(deg(30), deg(-45)))).jobs[0]
    assert job.ways[0].angles_rad == pytest.approx((math.radians(30), math.radians(-45)))
    assert job.ways[0].point_mm is None


def test_a_single_axis_has_one_angle() -> None:
    unit = Unit(kind="rotary only", tilt_axis_height=cell().unit.tilt_axis_height)
    job = found(cut("mill", face=None, pose=(deg(0), deg(-45))), unit=unit).jobs[0]
    assert job.ways[0].angles_rad == pytest.approx((math.radians(-45),))
    loaded = found(cut("mill", face=None, pose=(deg(10), deg(-45))), unit=unit)
    assert loaded.unreached[0][1].endswith("range of the tilt")


# --- what comes first ---------------------------------------------------------------------------


def pairs(loaded: JobsFinding) -> set[tuple[str, str, str]]:
    return {(loaded.jobs[a].label, loaded.jobs[b].label, why) for a, b, why in loaded.before}


def test_after_holds_part_by_part() -> None:
    loaded = found(cut("drill"), cut("tap", 2, after=("drill",)))
    assert pairs(loaded) == {(f"drill at {k}", f"tap at {k}", "after") for k in (1, 2, 3, 4)}


def test_datum_before_all_and_rough_before_finish_on_the_same_face() -> None:
    loaded = found(
        cut("seat", face="top", stage="datum", stations=("1",)),
        cut("rough front", stage="rough", stations=("1",)),
        cut("rough right", face="right", stage="rough", stations=("1",)),
        cut("finish front", stage="finish", stations=("1",)),
        cut("plain", stations=("1",)),
    )
    assert pairs(loaded) == {
        *(
            ("seat at 1", f"{name} at 1", "datum")
            for name in ("rough front", "rough right", "finish front", "plain")
        ),
        ("rough front at 1", "finish front at 1", "rough"),
    }


def test_a_circle_is_named() -> None:
    loaded = found(
        cut("a", after=("c",), stations=("2",)),
        cut("b", after=("a",), stations=("2",)),
        cut("c", after=("b",), stations=("2",)),
    )
    ring = loaded.ring
    assert sorted(ring) == ["a at 2", "b at 2", "c at 2"]
    order = {label: k for k, label in enumerate(ring)}
    assert (order["b at 2"] - order["a at 2"]) % 3 == 1  # a before b before c before a
    assert found(cut("a", after=("a",), stations=("2",))).ring == ("a at 2",)
    assert found(cut("a"), cut("b", after=("a",))).ring == ()


def test_what_was_done_elsewhere_was_done_before() -> None:
    loaded = found(cut("drill", stations=("1",)), cut("tap", after=("drill",), stations=("2",)))
    assert loaded.before == ()
    assert any("earlier load" in text for text in loaded.told)


# --- what is missing ----------------------------------------------------------------------------


def test_what_is_missing_is_named_one_by_one() -> None:
    assert lacking() == ["cell.toml: operations"]
    assert "cell.toml: operations[1].tool" in lacking(Operation(name="mill", face="front"))
    assert "cell.toml: operations[1].face" in lacking(Operation(name="mill", tool=1))
    assert "cell.toml: operations[1].face" in lacking(cut("mill", face="bottom"))
    assert "cell.toml: operations[1].after" in lacking(cut("mill", after=("dril",)))
    assert "cell.toml: operations[1].stations" in lacking(cut("mill", stations=("9",)))
    assert "cell.toml: operations[1].other_poses" in lacking(cut("mill", other_poses=("x",)))
    every = tuple(replace(station, empty=True) for station in STATIONS)
    assert lacking(cut("mill"), stations=every) == ["cell.toml: stations[1].empty"]


# --- where the parts sit ------------------------------------------------------------------------


def tower() -> Cell:
    """Two sides of a tower with two rows of two parts each, and one place left empty."""
    stations = []
    for turn in (0, 180):
        for z in (150, 60):
            for x in (-40, 40):
                x_at, y_at = (x, -60) if turn == 0 else (-x, 60)
                stations.append(
                    Station(
                        name=f"{turn}/{z}/{x}",
                        at=point(x_at, y_at, z),
                        turn=deg(turn),
                        empty=(turn, z, x) == (0, 60, -40),
                    )
                )
    return Cell(stations=tuple(stations), parts=(Part(name="p"),))


def test_seats_on_a_tower_count_from_the_top_left_of_each_side() -> None:
    rows = {seat.station: (seat.side, seat.row, seat.column) for seat in seats(tower())}
    for side, turn in (("Y-", 0), ("Y+", 180)):
        assert rows[f"{turn}/150/-40"] == (side, 1, 1)
        assert rows[f"{turn}/150/40"] == (side, 1, 2)
        assert rows[f"{turn}/60/-40"] == (side, 2, 1)
        assert rows[f"{turn}/60/40"] == (side, 2, 2)


def test_the_serial_position_leaves_empty_places_out() -> None:
    serial = [seat.serial for seat in seats(tower())]
    assert serial == [1, 2, None, 3, 4, 5, 6, 7]


def test_clocking_turns_the_sides() -> None:
    clocked = replace(tower(), fixture=Fixture(clocking=deg(90)))
    sides = {seat.side for seat in seats(clocked) if seat.station.startswith("0/")}
    assert sides == {"X+"}


def test_parts_turned_about_on_a_plate_share_its_grid() -> None:
    stations = tuple(
        Station(name=f"{x}{y}", at=point(x, y, 0), turn=deg(0 if x == y else 180))
        for y in (-50, 50)
        for x in (-50, 50)
    )
    found = [(seat.side, seat.row, seat.column) for seat in seats(Cell(stations=stations))]
    assert found == [("top", 1, 1), ("top", 1, 2), ("top", 2, 1), ("top", 2, 2)]


def test_a_station_without_a_place_keeps_its_serial_position() -> None:
    (seat,) = seats(Cell(stations=(Station(name="a"),)))
    assert (seat.serial, seat.side, seat.row, seat.column) == (1, None, None, None)
