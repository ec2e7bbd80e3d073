"""Tool changes as bodies: the tool is pulled down out of the spindle and the arm swings.

Above everything that stands on the table in that pose a change is clear wherever X and Y stand;
only where it is not does the place count, and then the arm's sweep has to be known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings.bodies import ENDLESS_MM, bounds_of

if TYPE_CHECKING:
    from gudgeon.cell.model import Changer
    from gudgeon.clearance.scene import Body, Scene

__all__ = ["ChangeFound", "change_judged", "highest_of"]

Floats = NDArray[np.float64]

_ORDER: Final = ("clear", "not judged", "cannot tell", "danger", "crash")


@dataclass(frozen=True, slots=True)
class ChangeFound:
    """A tool change judged.

    Attributes
    ----------
    judged : str
        Value of `Judged`.
    margin_mm : float
        Height left between the tool, pulled down, and the highest point under it; where the place
        counts, the gap there.
    pair : tuple of names
    points : tuple of points
        T [mm]; empty where the margin is a height.
    note : str
    missing : tuple of Missing
    """

    judged: str
    margin_mm: float
    pair: tuple[str, ...] = ()
    points: tuple[tuple[float, float, float], ...] = ()
    note: str = ""
    missing: tuple[Missing, ...] = ()

    def worse_than(self, other: ChangeFound) -> bool:
        """Tell whether this one decides."""
        mine, its = _ORDER.index(self.judged), _ORDER.index(other.judged)
        return mine > its or (mine == its and self.margin_mm < other.margin_mm)


def change_judged(
    scene: Scene, tool: Sequence[Body], changer: Changer, joint: Floats, need_mm: float, file: str
) -> ChangeFound:
    """Judge the change of one tool.

    Parameters
    ----------
    scene : Scene
    tool : sequence of Body
        What the head carries; the nose stays where it is.
    changer : Changer
    joint : ndarray, shape (5,)
        Where the axes stand; Z and both angles must be known.
    need_mm : float
    file : str
        Name of the cell file.
    """
    from gudgeon.clearance.prove import Prover, Status
    from gudgeon.clearance.scene import Body, Carrier, Role

    if changer.pull_down is None:
        return ChangeFound(
            "not judged",
            math.nan,
            note="how far the tool is pulled down is not known",
            missing=(
                Missing(
                    "how far a tool is pulled down at a change",
                    f"{file}: machine.changer.pull_down",
                    "tool changes cannot be judged without it",
                    "read it in the machine's manual, or measure it at a slow change",
                ),
            ),
        )
    if np.isnan(joint[2:]).any():
        return ChangeFound("not judged", math.nan, note="where the axes stand is not known")
    down = changer.pull_down.value + (changer.pull_down.plus_minus or 0.0)
    pulled = [body for body in tool if body.role is not Role.NOSE]
    if not pulled:
        return ChangeFound("clear", math.inf)
    lowest = [float(bounds_of(body)[0][2]) for body in pulled]
    tip = min(lowest)
    highest, name = highest_of(scene, float(joint[3]), float(joint[4]))
    height = float(joint[2]) + tip - down - highest
    pair = (pulled[int(np.argmin(lowest))].name, name)
    if height >= need_mm and height > 0.0:
        beside = _beside_guards(scene, pulled, joint, down, need_mm)
        return ChangeFound("clear", height, pair) if beside is None else beside
    arm = changer.arm_half_depth, changer.arm_half_width
    if np.isnan(joint[:2]).any() or arm[0] is None or arm[1] is None:
        return ChangeFound(
            "crash" if height <= 0.0 else "danger",
            height,
            pair,
            note="at this height a change is safe at no X and Y that is known"
            if np.isnan(joint[:2]).any()
            else "the sweep of the arm is not known, so this place is not known to be safe",
            missing=(
                Missing(
                    "sweep of the changer's arm",
                    f"{file}: machine.changer.arm_half_depth",
                    "beside the load a change is judged by it",
                    "measure how far the arm swings either side of the spindle line",
                ),
            ),
        )
    depth, width = (
        arm[0].value + (arm[0].plus_minus or 0.0),
        arm[1].value + (arm[1].plus_minus or 0.0),
    )
    from gudgeon.clearance.pieces import box

    swing = Body(
        "arm of the changer",
        Carrier.HEAD,
        Role.HOLDER,
        (box((-width, width), (-depth, depth), (tip, 0.0)),),
    )
    end = joint.copy()
    end[2] -= down
    gap = Prover(scene, [*pulled, swing]).motion(joint, end, need_mm, exact=True)
    if gap.status == Status.PROVEN:
        return ChangeFound(
            "clear",
            gap.upper_mm,
            tuple(gap.pair),
            tuple(gap.points),
            note="beside the load, at this X and Y only",
        )
    judged = "cannot tell"
    if gap.status == Status.CLOSER:
        judged = "crash" if gap.upper_mm <= 0.0 else "danger"
    return ChangeFound(
        judged, min(height, gap.upper_mm), tuple(gap.pair) or pair, tuple(gap.points)
    )


def _beside_guards(
    scene: Scene, pulled: Sequence[Body], joint: Floats, down_mm: float, need_mm: float
) -> ChangeFound | None:
    """Judge the tool on its way down against guards with an end; ``None`` where it is clear.

    The machine's own walls have none: nothing comes nearer to them on the way down.
    """
    from gudgeon.clearance.prove import Prover, Status
    from gudgeon.clearance.scene import Carrier, Role

    guards = tuple(
        body
        for body in scene.bodies
        if body.role is Role.GUARD
        and body.carrier is Carrier.BASE
        and float(bounds_of(body)[1][2]) < ENDLESS_MM
    )
    if not guards:
        return None
    if np.isnan(joint[:2]).any():
        return ChangeFound("not judged", math.nan, note="where X and Y stand is not known")
    end = joint.copy()
    end[2] -= down_mm
    gap = Prover(replace(scene, bodies=guards), pulled).motion(joint, end, need_mm, exact=True)
    if gap.status is Status.PROVEN:
        return None
    judged = "cannot tell"
    if gap.status is Status.CLOSER:
        judged = "crash" if gap.upper_mm <= 0.0 else "danger"
    return ChangeFound(judged, gap.upper_mm, tuple(gap.pair), tuple(gap.points))


def highest_of(scene: Scene, tilt_rad: float, rotary_rad: float) -> tuple[float, str]:
    """Return the highest Z of what stands on the table in a pose [mm], and its name.

    Guards that stand on the floor are left out: they are judged where they are.  What
    turns counts higher by the uncertainty of the axis lines.
    """
    from gudgeon.clearance.assembly import turned
    from gudgeon.clearance.pieces import CONE
    from gudgeon.clearance.scene import Carrier, Role

    tilt = turned(scene.lines.rows[0], tilt_rad)
    rotary = turned(scene.lines.rows[1], rotary_rad)
    best, name = -math.inf, ""
    for body in scene.bodies:
        if body.carrier is Carrier.HEAD or (
            body.role is Role.GUARD and body.carrier is Carrier.BASE
        ):
            continue
        rotation, shift = np.eye(3), np.zeros(3)
        unsure = 0.0
        if body.carrier in (Carrier.TILT, Carrier.ROTARY):
            unsure = scene.unsure_mm
            if body.carrier is Carrier.ROTARY:
                rotation, shift = rotary
            rotation, shift = tilt[0] @ rotation, tilt[0] @ shift + tilt[1]
        for pieces, points in body.solids:
            z = points @ rotation[2] + shift[2]
            for piece in pieces:
                first, count = int(piece["first"]), int(piece["count"])
                own = z[first : first + count]
                if piece["kind"] == CONE:
                    level = math.sqrt(max(0.0, 1.0 - float(rotation[2] @ piece["axis"]) ** 2))
                    own = own + level * np.array([piece["r0"], piece["r1"]])
                top = float(own.max() + piece["round"]) + unsure
                if top > best:
                    best, name = top, body.name
    return best, name
