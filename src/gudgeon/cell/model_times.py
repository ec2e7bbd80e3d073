"""Entries about time: how fast the axes are, what the control does, what a person does, shifts."""

from __future__ import annotations

from dataclasses import dataclass

from gudgeon.cell.entry import Shape, entry, section, sections
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = ["LinearMotion", "Night", "Shift", "Stopwatch", "Timing", "TurningMotion"]


@dataclass(frozen=True, slots=True)
class LinearMotion:
    """[machine.motion]: how fast X, Y and Z move (machine's manual, or the control's settings)."""

    rapid_x: Amount | None = entry(Kind.SPEED, "rapid of X", above=0.0)
    rapid_y: Amount | None = entry(Kind.SPEED, "rapid of Y (as X if left out)", above=0.0)
    rapid_z: Amount | None = entry(Kind.SPEED, "rapid of Z (as X if left out)", above=0.0)
    acceleration_x: Amount | None = entry(Kind.ACCELERATION, "acceleration of X", above=0.0)
    acceleration_y: Amount | None = entry(
        Kind.ACCELERATION, "acceleration of Y (as X if left out)", above=0.0
    )
    acceleration_z: Amount | None = entry(
        Kind.ACCELERATION, "acceleration of Z (as X if left out)", above=0.0
    )
    jerk_x: Amount | None = entry(Kind.JERK, "jerk of X (no limit if left out)", above=0.0)
    jerk_y: Amount | None = entry(Kind.JERK, "jerk of Y (as X if left out)", above=0.0)
    jerk_z: Amount | None = entry(Kind.JERK, "jerk of Z (as X if left out)", above=0.0)
    rapid_share: Amount | None = entry(
        Kind.SHARE,
        "rapid override that the shop runs with (100 % if left out)",
        above=0.0,
        high=1.0,
    )
    feed_most: Amount | None = entry(
        Kind.SPEED, "greatest feed that the control allows (the rapids if left out)", above=0.0
    )


@dataclass(frozen=True, slots=True)
class TurningMotion:
    """[unit.motion]: how fast the two turning axes move and are clamped (unit's data sheet)."""

    tilt_speed: Amount | None = entry(Kind.SPIN, "greatest speed of the tilt", above=0.0)
    rotary_speed: Amount | None = entry(Kind.SPIN, "greatest speed of the rotary", above=0.0)
    tilt_acceleration: Amount | None = entry(Kind.SPIN_UP, "acceleration of the tilt", above=0.0)
    rotary_acceleration: Amount | None = entry(
        Kind.SPIN_UP, "acceleration of the rotary", above=0.0
    )
    tilt_jerk: Amount | None = entry(
        Kind.SPIN_JERK, "jerk of the tilt (no limit if left out)", above=0.0
    )
    rotary_jerk: Amount | None = entry(
        Kind.SPIN_JERK, "jerk of the rotary (no limit if left out)", above=0.0
    )
    tilt_clamp: Amount | None = entry(Kind.TIME, "time to clamp the tilt (0 if left out)", low=0.0)
    tilt_unclamp: Amount | None = entry(
        Kind.TIME, "time to unclamp the tilt (0 if left out)", low=0.0
    )
    rotary_clamp: Amount | None = entry(
        Kind.TIME, "time to clamp the rotary (0 if left out)", low=0.0
    )
    rotary_unclamp: Amount | None = entry(
        Kind.TIME, "time to unclamp the rotary (0 if left out)", low=0.0
    )


@dataclass(frozen=True, slots=True)
class Stopwatch:
    """[[timing.stopwatch]]: a time taken at the machine, by which the sums are set right."""

    program: str | None = entry(Kind.TEXT, "file of the program that was timed")
    seconds: Amount | None = entry(
        Kind.TIME, "from start to end, with nobody in between", above=0.0
    )


@dataclass(frozen=True, slots=True)
class Timing:
    """[timing]: what the control does between moves, and what takes time without motion."""

    corners: str | None = entry(
        Kind.TEXT,
        "what the control does between feed moves: stop at each, or look ahead and round corners",
        choices=("exact stop", "look ahead"),
    )
    corner_tolerance: Amount | None = entry(
        Kind.LENGTH, "how far the path may leave a corner (0.01 mm if left out)", above=0.0
    )
    look_ahead: int | None = entry(
        Kind.INTEGER, "moves that the control looks ahead (as many as there are if left out)", low=1
    )
    settle: Amount | None = entry(
        Kind.TIME, "time to settle at each exact stop (0 if left out)", low=0.0
    )
    mixed_feed: str | None = entry(
        Kind.TEXT,
        "what F counts where linear and turning axes move together: the linear path alone; mm and "
        "degrees alike (root of the sum of squares); or the path of the tool over the work",
        choices=("linear axes", "all axes", "over the work"),
    )
    tool_change: Amount | None = entry(
        Kind.TIME, "a tool change, from spindle stopped at the change to free to move", low=0.0
    )
    spindle_start: Amount | None = entry(
        Kind.TIME, "time until the spindle runs at speed (0 if left out)", low=0.0
    )
    spindle_stop: Amount | None = entry(
        Kind.TIME, "time until the spindle stands (0 if left out)", low=0.0
    )
    word: Amount | None = entry(
        Kind.TIME, "time of any other declared word: coolant, doors (0 if left out)", low=0.0
    )
    probe_touch: Amount | None = entry(
        Kind.TIME, "time of one probing touch beyond its motion (0 if left out)", low=0.0
    )
    stopwatch: tuple[Stopwatch, ...] = sections(Stopwatch, "times taken at the machine")


@dataclass(frozen=True, slots=True)
class Night:
    """[shift.night]: running without a person."""

    hours: Amount | None = entry(Kind.TIME, "from the last visit to the first", above=0.0)
    loads: int | None = entry(
        Kind.INTEGER, "loads that change themselves meanwhile (1: the one on the machine)", low=1
    )


@dataclass(frozen=True, slots=True)
class Shift:
    """[shift]: when a person is there, and how long loading takes."""

    hours: Amount | None = entry(Kind.TIME, "one shift, breaks taken off", above=0.0)
    load_part: Amount | None = entry(
        Kind.TIME, "unload, clean and load one part, spindle standing", low=0.0
    )
    load_once: Amount | None = entry(
        Kind.TIME, "doors, chips, start: once a load (0 if left out)", low=0.0
    )
    load_pose: tuple[Amount, Amount] | None = entry(
        Kind.ANGLE, "programmed tilt and turn in which the work is loaded", Shape.PAIR
    )
    share_running: Amount | None = entry(
        Kind.SHARE,
        "share of the shift in which the machine can run (90 % if left out)",
        above=0.0,
        high=1.0,
    )
    night: Night = section(Night, "running without a person")
