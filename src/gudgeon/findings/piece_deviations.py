"""What a test piece can show to be off: each deviation in words, and where it acts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.job import Sizes
from gudgeon.accuracy.piece import Slopes, Stand
from gudgeon.accuracy.piece_choice import Deviation
from gudgeon.centre.lines import LineFrame
from gudgeon.findings.procedure import side_name
from gudgeon.quantity.kinds import Kind

__all__ = ["Named", "deviations_of"]

Floats = NDArray[np.float64]

PLACE_MM: Final = 0.05
ANGLE_RAD: Final = 5e-4
TURN_RAD: Final = 3e-4
TOOL_MM: Final = 0.05
"""How far each may be off by mistake, k = 1: wide, so that the choice of lands hangs on what the
piece tells and not on what was believed (common practice, no source)."""

WORTH: Final = 0.25
"""A deviation told within this share of what is wanted is told well enough."""

LEVER_MM: Final = 100.0
"""Length over which an angle is judged."""


@dataclass(frozen=True, slots=True, eq=False)
class Named:
    """A deviation with its words.

    Attributes
    ----------
    deviation : Deviation
    words : str
        What a positive one means: "the tilt line stands further to Y+".
    other : str
        What a negative one means.
    kind : Kind
        Length or angle.
    """

    deviation: Deviation
    words: str
    other: str
    kind: Kind


def deviations_of(
    slopes: Slopes,
    frame: LineFrame,
    stands: Sequence[Stand],
    senses: Sequence[int],
    sizes: Sizes,
    wanted_mm: float,
    one_side: bool,
) -> list[Named]:
    """Return everything that may be off: lines, index and lost motion, tools; then the doubts."""
    worth = WORTH * wanted_mm
    found: list[Named] = []

    def add(
        name: str,
        words: tuple[str, str],
        kind: Kind,
        prior: float,
        parts: Sequence[tuple[int | None, float]],
        told: bool = True,
    ) -> None:
        weights = np.zeros(len(slopes.sources))
        for column, weight in parts:
            if column is not None:
                weights[column] += weight
        if np.any(weights):
            size = worth if kind is Kind.LENGTH else worth / LEVER_MM
            found.append(Named(Deviation(name, prior, size, weights, told), *words, kind))

    for i, (name, words, kind) in enumerate(_lines_in_words(frame)):
        prior = PLACE_MM if kind is Kind.LENGTH else ANGLE_RAD
        parts = [(slopes.column("lines", 0, i), 1.0)]
        if name == "tilt_z":
            # The platter is carried along: how it stands to the tilt line is the face height.
            parts.append((slopes.column("lines", 0, len(frame.parameters) - 1), 1.0))
        add(name, words, kind, prior, parts)
    for axis, role in enumerate(axis.role for axis in frame.axes):
        sense = float(senses[axis])
        angles = sorted({round(s.angles[axis], 9) for s in stands if abs(s.angles[axis]) > 1e-9})
        for angle in angles:
            degrees = f"{math.degrees(angle):g}"
            part = [
                (slopes.column("index", axis, i), sense)
                for i, stand in enumerate(stands)
                if abs(stand.angles[axis] - angle) < 1e-6
            ]
            said = f"the {role} axis stands at {degrees} deg too far"
            add(
                f"{role} index {degrees}",
                (f"{said} to plus", f"{said} to minus"),
                Kind.ANGLE,
                TURN_RAD,
                part,
            )
        if not one_side:
            part = [
                (slopes.column("index", axis, i), sense)
                for i, stand in enumerate(stands)
                if axis in stand.minus
            ]
            said = f"the {role} axis, brought there turning to minus, stands too far"
            add(
                f"{role} lost motion",
                (f"{said} to plus (lost motion)", f"{said} to minus"),
                Kind.ANGLE,
                TURN_RAD,
                part,
            )
    lengths = [one for one in slopes.sources if one.cause == "tool length"]
    for source in (*lengths, *(one for one in slopes.sources if one.cause == "tool diameter")):
        tool = str(source.key[0])
        what, more = ("length", "longer") if source in lengths else ("diameter", "wider")
        less = {"longer": "shorter", "wider": "narrower"}[more]
        off, name, who = [source], f"{tool} {what}", f"{tool} is"
        if len(lengths) > 1 and source is lengths[0]:
            # All together are as good as a unit that stands higher; what tools differ by is seen.
            off, name, who = lengths, "tool lengths", "all tools are"
        add(
            name,
            (f"{who} {more} than entered", f"{who} {less} than entered"),
            Kind.LENGTH,
            TOOL_MM,
            [(slopes.column(one.cause, *one.key), 1.0) for one in off],
        )
    # Doubts that every land brings with it; nothing is said of them.
    for i, source in enumerate(slopes.sources):
        size = 0.0
        if source.cause == "index":
            size = sizes.index_u[int(str(source.key[0]))]
        elif source.cause == "spindle growth":
            size = sizes.growth_half / math.sqrt(3.0)
        elif source.cause == "square":
            size = sizes.square_u
        if size > 0.0:
            kind = Kind.LENGTH if source.cause == "spindle growth" else Kind.ANGLE
            add(f"{source.cause} {source.key}", ("", ""), kind, size, [(i, 1.0)], told=False)
    return found


def _lines_in_words(frame: LineFrame) -> list[tuple[str, tuple[str, str], Kind]]:
    """Return name, words for plus and minus, and kind of each parameter of the lines."""
    basis = frame.basis
    x, y = side_name(basis[:, 0]), side_name(basis[:, 1])
    back, away = side_name(-basis[:, 0]), side_name(-basis[:, 1])

    def place(what: str, plus: str, minus: str) -> tuple[str, str]:
        return f"{what} stands further to {plus}", f"{what} stands further to {minus}"

    def lean(what: str, plus: str, minus: str, end: str) -> tuple[str, str]:
        return f"{what} runs off to {plus}{end}", f"{what} runs off to {minus}{end}"

    ends = f" towards its {x} end"
    if len(frame.axes) == 1:
        out = x if frame.face_side > 0.0 else back
        into = back if frame.face_side > 0.0 else x
        plus, minus = (out, into) if frame.face_side > 0.0 else (into, out)
        return [
            ("rotary_y", place("the rotary line", y, away), Kind.LENGTH),
            ("rotary_z", place("the rotary line", "Z+", "Z-"), Kind.LENGTH),
            ("rotary_pitch", lean("the rotary line", "Z-", "Z+", ends), Kind.ANGLE),
            ("rotary_yaw", lean("the rotary line", y, away, ends), Kind.ANGLE),
            ("face", place("the platter face", plus, minus), Kind.LENGTH),
        ]
    leans = "the rotary line, at tilt 0,"
    return [
        ("tilt_y", place("the tilt line", y, away), Kind.LENGTH),
        ("tilt_z", place("the tilt line, and the platter with it,", "Z+", "Z-"), Kind.LENGTH),
        ("tilt_pitch", lean("the tilt line", "Z-", "Z+", ends), Kind.ANGLE),
        ("tilt_yaw", lean("the tilt line", y, away, ends), Kind.ANGLE),
        ("rotary_x", place("the rotary line", x, back), Kind.LENGTH),
        ("rotary_y", place("the rotary line", y, away), Kind.LENGTH),
        ("rotary_roll", (f"{leans} leans to {away}", f"{leans} leans to {y}"), Kind.ANGLE),
        ("rotary_pitch", (f"{leans} leans to {x}", f"{leans} leans to {back}"), Kind.ANGLE),
        (
            "face",
            (
                "the platter face stands higher over the tilt line",
                "the platter face stands lower over the tilt line",
            ),
            Kind.LENGTH,
        ),
    ]
