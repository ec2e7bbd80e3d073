"""Proofs of clearance beside adaptive subdivision with a library of collisions, on named scenes.

    python benchmarks/clearance.py

*tower*: a four-sided tower with pockets, platter and cradle as triangles, a tool of cutter, shank
and holder.  *indexed*: 40 places of tilt and turn, 250 blocks of raster and retract at each.
*simultaneous*: all five joints in each block.  "Slack s": each block has to prove its own smallest
gap less s.  The reference halves a motion until Coal's ``collide`` with a margin of the clearance
and of the way of any point proves it (no touch is missed by it, as far as Coal is right); it runs
on a few of the blocks; without Coal (``pip install --constraint constraints.txt .[reference]``)
the row says so.  Memory and first proof are measured in processes of their own, without Coal.
What each row is asked to reach stands at its end.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
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
HERE = str(Path(__file__).resolve().parent)


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
    taken = []
    for _ in range(3):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return count / sorted(taken)[1]


def row(name: str, figure: str, asked: str = "", met: bool | None = None) -> str:
    said = f"   {asked}" if asked else ""
    if met is not None:
        said += ": met" if met else ": MISSED"
    return f"{name:<48}{figure}{said}"


def beside(name: str, mine: float, theirs: float | None, least: float) -> str:
    """Return a row of blocks a second beside those of the reference."""
    if theirs is None:
        return row(name, f"{mine:>12,.0f} blocks/s   reference not installed")
    times = mine / theirs
    return row(
        name,
        f"{mine:>12,.0f} blocks/s{theirs:>12,.1f} blocks/s{times:>9,.0f} x",
        f"asked {least:g} x" if least else "",
        times >= least if least else None,
    )


def reference_rate(
    reference: Reference | None, before: Floats, ends: Floats, needs: Floats
) -> float | None:
    if reference is None:
        return None
    began, done = time.process_time(), 0
    for i in np.random.default_rng(2).permutation(len(ends)):
        assert reference.clear(before[i], ends[i], float(needs[i]))
        done += 1
        if time.process_time() - began > REFERENCE_S:
            break
    return done / (time.process_time() - began)


def slack_row(
    name: str,
    made: Prover,
    reference: Reference | None,
    joints: Floats,
    slack: float,
    count: int,
    least: float = 0.0,
) -> tuple[str, float, float | None]:
    start, ends = joints[0], joints[1 : count + 1]
    before = np.vstack([start[None], ends[:-1]])
    gaps = [
        made.motion(one, other, 0.0, exact=True, tol_mm=1e-3).lower_mm
        for one, other in zip(before, ends, strict=True)
    ]
    needs = np.array(gaps) - slack

    def ours() -> None:
        assert (made._path(start, ends, needs, chunks=False).status == Status.PROVEN).all()

    mine, theirs = rate(ours, count), reference_rate(reference, before, ends, needs)
    return beside(name, mine, theirs, least), mine, theirs


def clean_rows(made: Prover, reference: Reference | None, joints: Floats) -> list[str]:
    start, ends = joints[0], joints[1:]
    assert (made.path(start, ends, 0.5).status == Status.PROVEN).all()
    chunks = rate(lambda: made.path(start, ends, 0.5), len(ends))
    single = rate(lambda: made._path(start, ends, 0.5, chunks=False), len(ends))
    theirs = reference_rate(reference, joints[:-1], ends, np.full(len(ends), 0.5))
    return [
        beside("indexed, clean 0.5 mm, block by block", single, theirs, 12.0),
        beside("indexed, clean 0.5 mm, chunks", chunks, theirs, 250.0),
    ]


def size_rows() -> list[str]:
    rates, rows = [], []
    joints = indexed()
    for cells in (3, 39):
        many = scene(cells)
        count = sum(len(p) for body in many.bodies for p, _ in body.solids)
        began = time.perf_counter()
        made = Prover(many, tool())
        built = time.perf_counter() - began
        single = rate(lambda: made._path(joints[0], joints[1:], 0.5, chunks=False), len(joints) - 1)  # noqa: B023
        rates.append(single)
        rows.append(
            row(
                f"indexed, clean, {count:,} triangles",
                f"{single:>12,.0f} blocks/s   built in {built:.2f} s",
                "asked 5 s",
                built < 5.0,
            )
        )
    times = rates[0] / rates[1]
    return [*rows, row("  cost of many triangles", f"{times:>12.2f} x", "asked 2 x", times < 2.0)]


def retract_plane() -> str:
    made = Prover(scene(5), tool())
    reach = float(np.hypot(np.hypot(54.0, 25.0), 130.0))
    low, high = np.array([-200, -200, 0, -1.9, -np.pi]), np.array([200, 200, 0, 1.9, np.pi])
    low[2] = high[2] = 150.0 + reach + 5.0
    made.box(low, high, 1.0)
    began = time.perf_counter()
    gap = made.box(low, high, 1.0, exact=True, tol_mm=0.05)
    took = time.perf_counter() - began
    known = gap.status is Status.PROVEN and gap.upper_mm - gap.lower_mm <= 0.0500001
    figure = f"{took:>12.2f} s" + ("" if known else "   not found")
    return row(
        "plane safe for all tilts and turns, 0.05 mm", figure, "asked 2 s", took < 2 and known
    )


FRESH = """
import time; t = time.perf_counter()
import sys; sys.path.insert(0, sys.argv[1])
import clearance as c
m = c.Prover(c.scene(5), c.tool())
assert m.motion([0, 0, 400, 0, 0], [9, 0, 400, 0.1, 0.1], 1.0).status == 0
print(time.perf_counter() - t)
"""

MEMORY = """
import sys; sys.path.insert(0, sys.argv[1])
import clearance as c
j = c.indexed()
m = c.Prover(c.scene(39), c.tool())
m.path(j[0], j[1:], 0.5)
# What `resource` tells would hold the highest of the process that started this one.
lines = open("/proc/self/status").read().splitlines()
print(next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024)
"""


def alone(code: str) -> float:
    """Return the figure that a process of its own prints."""
    words = [sys.executable, "-c", code, HERE]
    return float(subprocess.run(words, capture_output=True, text=True, check=True).stdout)


def process_rows() -> list[str]:
    first = min(alone(FRESH) for _ in range(2))
    rows = [row("first proof in a fresh process", f"{first:>12.2f} s", "asked 3 s", first < 3.0)]
    name = "peak memory, 200,772 triangles, without Coal"
    if sys.platform != "linux":
        return [*rows, row(name, "not counted on this system")]
    most = alone(MEMORY)
    return [*rows, row(name, f"{most:>12,.0f} MB", "asked 500 MB", most < 500.0)]


def reference_of(bodies: Scene) -> Reference | None:
    try:
        return Reference(bodies)
    except ImportError:
        return None


def main() -> int:
    reference = reference_of(scene(5))
    made = Prover(scene(5), tool())
    count = sum(len(p) for body in made.scene.bodies for p, _ in body.solids)
    rival = "Coal, halved until proven" if reference else "not installed"
    print(f"proofs of clearance: tower, {count:,} triangles; reference: {rival}")
    joints, five = indexed(), simultaneous()
    for said in clean_rows(made, reference, joints):
        print(said, flush=True)
    theirs = None
    for slack, least in ((0.2, 300.0), (0.02, 800.0)):
        name = f"indexed, slack {slack} mm, block by block"
        said, _, theirs = slack_row(name, made, reference, joints, slack, 1000, least)
        print(said, flush=True)
    for slack in (0.5, 0.2, 0.02):
        name = f"simultaneous, slack {slack} mm"
        said, mine, _ = slack_row(name, made, reference, five, slack, 400)
        print(said, flush=True)
    # 2,000 blocks/s where the reference does 16 indexed ones: the same on any computer.
    print(beside("  beside the reference's indexed blocks", mine, theirs, 125.0))
    for said in size_rows():
        print(said, flush=True)
    print(retract_plane(), flush=True)
    for said in process_rows():
        print(said, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
