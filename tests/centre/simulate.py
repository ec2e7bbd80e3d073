"""Touches of a unit whose lines are known, made with the product's own chain."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from gudgeon.centre.lines import LineFrame
from gudgeon.centre.readings import Reading
from gudgeon.kinematics.chain import AxisLine, TurningAxis

TRUE = np.array([0.4, -0.7, 4e-4, -6e-4, 0.3, -0.5, -7e-4, 5e-4, 24.8])
SLOPES = (2e-4, -1e-4)
OFF = (0.012, -0.008)
PIN_MM = 8.0
BORE_MM = 22.0


def frame(
    tilt: int = -1,
    rotary: int = -1,
    yaw_deg: float = 0.0,
    origin: tuple[float, float, float] = (-380.0, -130.0, -400.0),
) -> LineFrame:
    yaw = math.radians(yaw_deg)
    along = (math.cos(yaw), math.sin(yaw), 0.0)
    return LineFrame(
        origin,
        along,
        (
            TurningAxis("tilt", AxisLine((0.0, 0.0, 0.0), along), tilt),
            TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), rotary),
        ),
    )


class Unit:
    """A unit that can be touched.

    Parameters
    ----------
    frame : LineFrame
    values : array_like, shape (9,)
        True parameters of the lines.
    slopes, off : tuple of 2 floats
        Slopes of the face and place of bore and pin, frame of the rotary line.
    """

    def __init__(self, frame, values=TRUE, slopes=SLOPES, off=OFF, u=0.003, ball=3.0, seed=None):
        self.frame, self.values = frame, np.array(values, float)
        self.slopes, self.off, self.u, self.ball = slopes, off, u, ball
        self.chain = frame.chain(self.values)
        self.chance = None if seed is None else np.random.default_rng(seed)
        self.rows = 1
        # Axes of the frame of the rotary line: README of the simulated readings, LC.
        roll, pitch = self.values[6:8]
        c, s = math.cos, math.sin
        lean = np.array([[1, 0, 0], [0, c(roll), -s(roll)], [0, s(roll), c(roll)]]) @ np.array(
            [[c(pitch), 0, s(pitch)], [0, 1, 0], [-s(pitch), 0, c(pitch)]]
        )
        self.platter = frame.basis @ lean
        self.crossing = frame.to_table([self.values[4], self.values[5], 0.0])

    def world(self, tilt, rotary, local):
        return self.chain.points([tilt, rotary], self.crossing + self.platter @ np.asarray(local))

    def way(self, tilt, rotary, local):
        return self.chain.directions([tilt, rotary], self.platter @ np.asarray(local))

    def _take(self, feature, toward, tilt, rotary, place, radius):
        noise = self.chance.normal(0.0, self.u) if self.chance is not None else 0.0
        place = np.array(place, float)
        if toward is not None:
            place = place + noise * np.abs(toward)
            toward = tuple(float(t) for t in toward)
        self.rows += 1
        x, y, z = (float(p) for p in place)
        return Reading(self.rows, feature, toward, tilt, rotary, (x, y, z), radius, self.u)

    def face(self, tilt_deg, rotary_deg, x, y):
        """Touch the face where the frame of the rotary line has x and y."""
        tilt, rotary = math.radians(tilt_deg), math.radians(rotary_deg)
        z = self.values[8] + self.slopes[0] * x + self.slopes[1] * y
        normal = self.way(tilt, rotary, [-self.slopes[0], -self.slopes[1], 1.0])
        normal = normal / np.linalg.norm(normal)
        tip = self.world(tilt, rotary, [x, y, z]) + normal * self.ball
        toward = np.zeros(3)
        k = int(np.argmax(np.abs(normal)))
        toward[k] = -np.sign(normal[k])
        return self._take("face", toward, tilt, rotary, tip, self.ball)

    def bore(self, tilt_deg, rotary_deg, depth=0.0):
        """Return the measured centre of the bore at a depth along it."""
        tilt, rotary = math.radians(tilt_deg), math.radians(rotary_deg)
        at = self.world(tilt, rotary, [*self.off, self.values[8] + depth])
        if self.chance is not None:
            at = at + np.array([*self.chance.normal(0.0, self.u, 2), 0.0])
        return self._take("bore", None, tilt, rotary, at, 0.0)

    def pin(self, rotary_deg, side, aside_mm=0.0, height=5.0, noted=True):
        """Touch the pin on the machine side ``"X+"`` ..., `aside_mm` off its middle."""
        rotary = math.radians(rotary_deg)
        k, sign = "XY".index(side[0]), 1.0 if side[1] == "+" else -1.0
        axis = self.way(0.0, rotary, [0.0, 0.0, 1.0])
        on_axis = self.world(0.0, rotary, [*self.off, self.values[8] + height])
        out = np.zeros(3)
        out[k] = sign
        out = out - axis * (axis @ out)
        out = out / np.linalg.norm(out)
        beside = np.cross(axis, out)
        reach = PIN_MM + self.ball
        tip = on_axis + out * math.sqrt(reach**2 - aside_mm**2) + beside * aside_mm
        toward = np.zeros(3)
        toward[k] = -sign
        reading = self._take("pin", toward, 0.0, rotary, tip, self.ball)
        if not noted:
            place = [math.nan] * 3
            place[k] = reading.position_mm[k]
            reading = replace(reading, position_mm=tuple(place))
        return reading

    def sphere(self, tilt_deg, rotary_deg, local=(60.0, 15.0, 40.0), name="ball one", **more):
        """Return the measured centre of a ball standing at `local` on the rotary line's frame."""
        tilt, rotary = math.radians(tilt_deg), math.radians(rotary_deg)
        at = self.world(tilt, rotary, local)
        if self.chance is not None:
            at = at + self.chance.normal(0.0, self.u, 3)
        return replace(self._take(name, None, tilt, rotary, at, 0.0), **more)

    def level(self, way, tilt_deg=0.0, rotary_deg=0.0, off_rad=0.0, u_rad=2e-5, **more):
        """Return what a level laid on the face along machine axis `way` reads, off by its zero."""
        tilt, rotary = math.radians(tilt_deg), math.radians(rotary_deg)
        normal = self.way(tilt, rotary, [-self.slopes[0], -self.slopes[1], 1.0])
        k = "XY".index(way[0])
        toward = np.zeros(3)
        toward[k] = 1.0 if way[1] == "+" else -1.0
        angle = math.atan2(-(normal @ toward), normal[2]) + off_rad
        if self.chance is not None:
            angle += self.chance.normal(0.0, u_rad)
        self.rows += 1
        ways = tuple(float(t) for t in toward)
        place = (math.nan,) * 3
        reading = Reading(self.rows, "level", ways, tilt, rotary, place, 0.0, u_rad)
        return replace(reading, angle_rad=angle, **more)

    def swept_face(self, tilt_deg, rotary_deg, x, y, zero_mm=0.0, name="sweep"):
        """Touch the face with an indicator whose zero nobody knows."""
        reading = self.face(tilt_deg, rotary_deg, x, y)
        place = np.asarray(reading.position_mm) - np.asarray(reading.toward) * (zero_mm - self.ball)
        x, y, z = (float(p) for p in place)
        return replace(reading, position_mm=(x, y, z), radius_mm=0.0, zero=name)

    def swept_bore(
        self, rotary_deg, side, reach_mm=25.0, depth=-5.0, name="bore sweep", aside=(0.05, -0.03)
    ):
        """Indicate the wall of the bore from a spindle that stands still beside its axis."""
        rotary = math.radians(rotary_deg)
        axis = self.way(0.0, rotary, [0.0, 0.0, 1.0])
        on_axis = self.world(0.0, rotary, [*self.off, self.values[8] + depth])
        spindle = self.world(0.0, 0.0, [*aside, self.values[8] + depth])
        k = "XY".index(side[0])
        toward = np.zeros(3)
        toward[k] = 1.0 if side[1] == "+" else -1.0
        # Where the ray from the spindle along `toward` meets the wall (quadratic equation).
        from_axis, way = (v - axis * (axis @ v) for v in (spindle - on_axis, toward))
        a, b, c = way @ way, from_axis @ way, from_axis @ from_axis - BORE_MM**2
        length = (-b + math.sqrt(b * b - a * c)) / a
        # The dial shows how far the plunger is pushed in against its rest at `reach_mm`.
        at = spindle - toward * (reach_mm - length)
        reading = self._take("bore", toward, 0.0, rotary, at, 0.0)
        return replace(reading, zero=name)

    def full(self):
        """Return touches that determine everything."""
        out = [self.face(t, 0.0, x, y) for t in (90, -90) for x, y in ((60, 0), (-60, 0), (0, 50))]
        out += [self.face(0, c, 60, 10) for c in (0, 90, 180, 270)]
        out += [self.face(0, 0, 0, y) for y in (-60, 60)]
        return (*out, *(self.bore(0, c, d) for c in (0, 90, 180, 270) for d in (0.0, -25.0)))
