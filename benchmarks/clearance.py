"""Proofs of clearance beside adaptive subdivision with a library of collisions, on named scenes.

    python benchmarks/clearance.py

*tower*: a four-sided tower with pockets, platter and cradle as triangles, a tool of cutter, shank
and holder.  *indexed*: 40 places of tilt and turn, 250 blocks of raster and retract at each.
*simultaneous*: all five joints in each block.  "Slack s": each block has to prove its own smallest
gap less s.  The reference halves a motion until Coal's ``collide`` with a margin of the clearance
and of the way of any point proves it (no touch is missed by it, as far as Coal is right); it runs
on a few of the blocks.  It is left out where Coal is not installed (``pip install coal``).
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.pieces import cone, triangles
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene

Floats = NDArray[np.float64]

LINES = np.array([[0.0, 0.0, 0.0, 1.0, 0.0, 0.0, -1.0], [0.0, 0.0, 0.0, 0.0, 0.0, 1.0, -1.0]])
PLACES, BLOCKS = 40, 250
CONES = (
    ((0, 0, -150), (0, 0, -110), 6.0, 6.0),
    ((0, 0, -110), (0, 0, -70), 6.0, 8.0),
    ((0, 0, -70), (0, 0, 0), 20.0, 31.5),
)
REFERENCE_S = 4.0


def plate(low: tuple[float, ...], high: tuple[float, ...], cells: int) -> Floats:
    """Return a box as triangles, each face divided into cells x cells squares."""
    least, most = np.array(low, float), np.array(high, float)
    steps = np.linspace(0.0, 1.0, cells + 1)
    found = []
    for k in range(3):
        u, v = (k + 1) % 3, (k + 2) % 3
        a, b = np.meshgrid(steps[:-1], steps[:-1], indexing="ij")
        c, d = np.meshgrid(steps[1:], steps[1:], indexing="ij")
        for side in (0.0, 1.0):
            corners = np.empty((cells * cells, 4, 3))
            corners[:, :, k] = side
            for at, (x, y) in enumerate(((a, b), (c, b), (c, d), (a, d))):
                corners[:, at, u], corners[:, at, v] = x.ravel(), y.ravel()
            order = [[0, 1, 2], [0, 2, 3]] if side else [[0, 2, 1], [0, 3, 2]]
            found.append(corners[:, order].reshape(-1, 3, 3))
    return np.concatenate(found) * (most - least) + least


def scene(cells: int) -> Scene:
    """Return the tower; 12 x 11 x cells^2 triangles."""
    tower = [plate((-40, -40, 10), (40, 40, 130), cells)]
    for x, y in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        for z in (40.0, 95.0):
            # Clamps to either side of a pocket stand out of each face.
            middle = np.array([x * 47.0, y * 47.0, z])
            half = np.array([7.0 if x else 25.0, 7.0 if y else 25.0, 6.0])
            tower.append(plate(tuple(middle - half), tuple(middle + half), cells))
    platter = plate((-90, -90, -20), (90, 90, 10), cells)
    cradle = plate((-160, -110, -60), (160, 110, -30), cells)
    return Scene(
        (
            Body("tower", Carrier.ROTARY, Role.FIXTURE, (triangles(np.concatenate(tower)),)),
            Body("platter", Carrier.ROTARY, Role.UNIT, (triangles(platter),)),
            Body("cradle", Carrier.TILT, Role.UNIT, (triangles(cradle),)),
        ),
        Lines(LINES),
        apart=frozenset({frozenset({"platter", "cradle"})}),
    )


def tool() -> tuple[Body, ...]:
    names = (("cutter", Role.HOLDER), ("shank", Role.SHANK), ("holder", Role.HOLDER))
    return tuple(
        Body(name, Carrier.HEAD, role, (cone(*one),))
        for (name, role), one in zip(names, CONES, strict=True)
    )


def highest(joints: Floats) -> Floats:
    """Return the Z of the gauge point at which the tip is level with the highest corner."""
    corners = np.array([(x, y, 130.0) for x in (-54, 54) for y in (-54, 54)])
    corners = np.vstack([corners, [(x, y, -60.0) for x in (-160, 160) for y in (-160, 160)]])
    a, c = -joints[:, 3, None], -joints[:, 4, None]
    y = corners[:, 0] * np.sin(c) + corners[:, 1] * np.cos(c)
    return 150.0 + (y * np.sin(a) + corners[:, 2] * np.cos(a)).max(axis=1)


def indexed(gap_mm: float = 3.0) -> Floats:
    rng = np.random.default_rng(1)
    parts = []
    for place in range(PLACES):
        joints = np.zeros((BLOCKS, 5))
        joints[:, 3] = np.radians(90.0 * (place % 3) / 2.0)
        joints[:, 4] = np.radians(360.0 * place / PLACES)
        # Strokes of 80 mm across, 1 mm over at each end, the tip just above the highest corner.
        row = np.arange(BLOCKS)
        joints[:, 0] = np.where(row // 2 % 2 == 1, 40.0, -40.0)
        joints[:, 1] = (row + 1) // 2 - BLOCKS / 4.0
        joints[:, 2] = highest(joints) + gap_mm + rng.uniform(0.0, 2.0)
        for end in (0, -1):
            joints[end, 2] = highest(joints[:1])[0] + 150.0
        parts.append(joints)
    return np.concatenate(parts)


def simultaneous(count: int = 400, gap_mm: float = 2.0) -> Floats:
    t = np.linspace(0.0, 1.0, count + 1)
    joints = np.zeros((count + 1, 5))
    joints[:, 0], joints[:, 1] = 30.0 * np.sin(40.0 * t), 25.0 * np.cos(31.0 * t)
    joints[:, 3], joints[:, 4] = np.radians(30.0 + 25.0 * np.sin(12.0 * t)), np.radians(720.0 * t)
    joints[:, 2] = highest(joints) + gap_mm
    return joints


class Reference:
    """Adaptive subdivision with Coal."""

    def __init__(self, bodies: Scene) -> None:
        import coal

        self.coal = coal
        self.meshes = []
        for carrier in (Carrier.TILT, Carrier.ROTARY):
            own = [
                points.reshape(-1, 3, 3)
                for body in bodies.bodies
                if body.carrier is carrier
                for _, points in body.solids
            ]
            faces = np.concatenate(own)
            mesh = coal.BVHModelOBBRSS()
            mesh.beginModel(len(faces), 3 * len(faces))
            for a, b, c in faces:
                mesh.addTriangle(a, b, c)
            mesh.endModel()
            corners = faces.reshape(-1, 3)
            self.meshes.append((carrier, mesh, float(np.linalg.norm(corners, axis=1).max())))
        # A frustum within its cylinder: an easier demand than ours.
        self.tools = [
            (
                coal.Cylinder(max(r0, r1), float(q[2] - p[2])),
                np.array([0.0, 0.0, 0.5 * (p[2] + q[2])]),
            )
            for p, q, r0, r1 in CONES
        ]

    def _place(self, carrier: Carrier, joint: Floats) -> Any:
        a, c = -joint[3], -joint[4]
        tilt = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
        if carrier is Carrier.ROTARY:
            turn = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
            tilt = tilt @ turn
        return self.coal.Transform3s(tilt, np.zeros(3))

    def clear(self, start: Floats, end: Floats, need: float) -> bool:
        coal = self.coal
        request, result = coal.CollisionRequest(), coal.CollisionResult()
        for carrier, mesh, reach in self.meshes:
            stack = [(0.0, 1.0)]
            while stack:
                t0, t1 = stack.pop()
                step = (end - start) * (t1 - t0)
                way = 0.5 * (np.linalg.norm(step[:3]) + reach * np.abs(step[3:]).sum())
                joint = start + 0.5 * (t0 + t1) * (end - start)
                work = self._place(carrier, joint)
                request.security_margin = need + way
                for shape, middle in self.tools:
                    here = coal.Transform3s(np.eye(3), joint[:3] + middle)
                    result.clear()
                    if coal.collide(mesh, work, shape, here, request, result):
                        if t1 - t0 < 1e-4:
                            return False
                        mid = 0.5 * (t0 + t1)
                        stack += [(t0, mid), (mid, t1)]
                        break
        return True


def rate(work: Callable[[], Any], count: int) -> float:
    work()
    start = time.perf_counter()
    work()
    return count / (time.perf_counter() - start)


def slack_rates(
    name: str, made: Prover, reference: Reference | None, joints: Floats, slack: float, count: int
) -> str:
    start, ends = joints[0], joints[1 : count + 1]
    before = np.vstack([start[None], ends[:-1]])
    gaps = [
        made.motion(one, other, 0.0, exact=True, tol_mm=1e-3).lower_mm
        for one, other in zip(before, ends, strict=True)
    ]
    needs = np.array(gaps) - slack

    def ours() -> None:
        assert (made._path(start, ends, needs, chunks=False).status == Status.PROVEN).all()

    mine = rate(ours, count)
    if reference is None:
        return f"{name:<46}{mine:>12,.0f} blocks/s   (no reference)"
    began, done = time.perf_counter(), 0
    for i in np.random.default_rng(2).permutation(count):
        assert reference.clear(before[i], ends[i], needs[i])
        done += 1
        if time.perf_counter() - began > REFERENCE_S:
            break
    theirs = done / (time.perf_counter() - began)
    return f"{name:<46}{mine:>12,.0f} blocks/s{theirs:>12,.1f} blocks/s{mine / theirs:>10,.0f} x"


def clean_rates(made: Prover, reference: Reference | None, joints: Floats) -> list[str]:
    start, ends = joints[0], joints[1:]
    assert (made.path(start, ends, 0.5).status == Status.PROVEN).all()
    chunks = rate(lambda: made.path(start, ends, 0.5), len(ends))
    single = rate(lambda: made._path(start, ends, 0.5, chunks=False), len(ends))
    theirs = None
    if reference is not None:
        began, done = time.perf_counter(), 0
        for i in np.random.default_rng(2).permutation(np.arange(1, len(joints))):
            assert reference.clear(joints[i - 1], joints[i], 0.5)
            done += 1
            if time.perf_counter() - began > REFERENCE_S:
                break
        theirs = done / (time.perf_counter() - began)
    rows = []
    for name, mine in (
        ("indexed, clean 0.5 mm, block by block", single),
        ("indexed, clean, chunks", chunks),
    ):
        said = (
            f"{theirs:>12,.1f} blocks/s{mine / theirs:>10,.0f} x" if theirs else "   (no reference)"
        )
        rows.append(f"{name:<46}{mine:>12,.0f} blocks/s{said}")
    return rows


def sizes() -> list[str]:
    rates, rows = [], []
    for cells in (3, 39):
        many = scene(cells)
        count = sum(len(p) for body in many.bodies for p, _ in body.solids)
        began = time.perf_counter()
        made = Prover(many, tool())
        built = time.perf_counter() - began
        joints = indexed()
        single = rate(lambda: made._path(joints[0], joints[1:], 0.5, chunks=False), len(joints) - 1)  # noqa: B023
        rates.append(single)
        rows.append(
            f"{f'indexed, clean, {count:,} triangles':<46}{single:>12,.0f} blocks/s"
            f"   built in {built:.2f} s"
        )
    rows.append(f"{'  cost of many triangles':<46}{rates[0] / rates[1]:>12.2f} x")
    return rows


def retract_plane() -> str:
    made = Prover(scene(5), tool())
    reach = float(np.hypot(np.hypot(54.0, 25.0), 130.0))
    low, high = np.array([-200, -200, 0, -1.9, -np.pi]), np.array([200, 200, 0, 1.9, np.pi])
    low[2] = high[2] = 150.0 + reach + 5.0

    def work() -> None:
        gap = made.box(low, high, 1.0, exact=True, tol_mm=0.05)
        assert gap.status is Status.PROVEN and gap.upper_mm - gap.lower_mm <= 0.0500001

    return f"{'plane safe for all tilts and turns, 0.05 mm':<46}{1.0 / rate(work, 1):>12.2f} s"


def fresh() -> str:
    code = (
        "import time; t = time.perf_counter()\n"
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "import clearance as c\n"
        "m = c.Prover(c.scene(5), c.tool())\n"
        "assert m.motion([0, 0, 400, 0, 0], [9, 0, 400, 0.1, 0.1], 1.0).status == 0\n"
        "print(time.perf_counter() - t)"
    )
    taken = [
        float(
            subprocess.run(
                [sys.executable, "-c", code, sys.path[0]],
                capture_output=True,
                text=True,
                check=True,
            ).stdout
        )
        for _ in range(2)
    ]
    return f"{'first proof in a fresh process, compiled before':<46}{min(taken):>12.2f} s"


def main() -> int:
    try:
        reference = Reference(scene(5))
    except ImportError:
        reference = None
    made = Prover(scene(5), tool())
    count = sum(len(p) for body in made.scene.bodies for p, _ in body.solids)
    rival = "Coal, halved until proven" if reference else "none"
    print(f"tower, {count:,} triangles; reference: {rival}")
    joints, five = indexed(), simultaneous()
    for row in clean_rates(made, reference, joints):
        print(row, flush=True)
    for slack in (0.2, 0.02):
        print(
            slack_rates(f"indexed, slack {slack} mm", made, reference, joints, slack, 1000),
            flush=True,
        )
    for slack in (0.5, 0.2, 0.02):
        print(
            slack_rates(f"simultaneous, slack {slack} mm", made, reference, five, slack, 400),
            flush=True,
        )
    for row in sizes():
        print(row, flush=True)
    print(retract_plane(), flush=True)
    print(fresh())
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"{'peak memory of this run':<46}{peak:>12,.0f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
