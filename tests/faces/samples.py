"""Constructed answers: every part of the shape, all four verdicts, an invented shop."""

from __future__ import annotations

import math

from gudgeon.answer import Answer, Column, Figure, Missing, Picture, Table, Verdict
from gudgeon.drawing.chart import Bars, Chart
from gudgeon.drawing.plan import Plan

ASKS = {
    "holds": "Is it strong enough, loaded as planned?",
    "turns": "Where do the two axis lines run, and how surely?",
    "fits": "Where on the table and which way round does it go?",
    "pays": "Does it pay, and what would change that?",
}


def table_plan() -> str:
    plan = Plan("table plan", -460, -240, 460, 240)
    plan.rectangle(-450, -200, 450, 200, style="bold", fill="tint")
    for y in (-125, 0, 125):
        plan.rectangle(-450, y - 8, 450, y + 8, fill="paper")
    plan.rectangle(-180, -110, 210, 120, style="bold", fill="paper")
    plan.circle((0, 0), 90, fill="hatch").line((-260, 0), (300, 0), "axis")
    plan.dimension((-180, -110), (210, -110), "390 mm", offset_px=-16)
    plan.dimension((210, -110), (210, 120), "230 mm", offset_px=-16)
    plan.arrow((300, 60), (400, 60)).text((350, 80), "X+")
    return plan.text((0, 150), "unit, motor to the right").svg()


def tilt_torque() -> str:
    tilts = list(range(-110, 31, 2))
    full = [61.0 * math.sin(math.radians(tilt)) for tilt in tilts]
    chart = Chart("tilt torque", "tilt [deg]", "unbalance torque [N*m]")
    chart.curve(tilts, full, "all parts in")
    chart.curve(tilts, [0.6 * t for t in full], "half the parts in", "hidden")
    chart.level(-70, "rated 70 N*m").mark(-90, -61, "worst: 61 N*m")
    return chart.svg()


def tornado() -> str:
    bars = Bars("tornado", "net present value [EUR]")
    bars.row("parts a year, 900 to 1500", -4200, 31000, 12500)
    bars.row("time saved a part, 6 to 9 min", 1500, 24100, 12500)
    bars.row("shop rate, 60 to 80 EUR/h", 6100, 19000, 12500)
    return bars.upright(0, "pays from here on").svg()


HOLDS = Answer(
    question="holds",
    verdict=Verdict.YES_IF,
    headline="Yes, if it is loaded from both sides in turn: then 61.3 of 70 N*m stand on the tilt.",
    next_step="Load stations 1 and 3 before 2 and 4, and write that on the set-up sheet.",
    figures=(
        Figure("tilt_torque", "worst unbalance torque on the tilt drive", 61.34, "N*m", 4.2, 70.0,
               "max", "at tilt -90 deg with stations 1 and 2 loaded"),
        Figure("brake_spare", "spare of the rotary brake in the worst cut", 1.31, "", None, 1.5,
               "min", "drill 10.2 mm, operation 3"),
        Figure("table_load", "mass on the table", 212.0, "kg", 8.0, 350.0, "max"),
        Figure("bolt_stretch", "stretch of a bolt at full torque", None, "mm",
               note="not asked for"),
        Figure("slip", "thrust before the joint slips", 23412.7, "N", 2100.0, 23900.0, "min",
               "friction 0.12 of the joint faces, the low end of common practice"),
    ),
    tables=(
        Table("stages", "Torque on the tilt drive while loading", (
            Column("stage", "loading stage"), Column("loaded", "stations loaded"),
            Column("torque", "worst torque", "N*m"), Column("at", "at tilt", "deg"),
            Column("kept", "within the rating")),
            (("empty", "none", 12.0, -90.0, True), ("first", "1", 38.25, -90.0, True),
             ("second", "1 and 3", 31.5, 90.0, True), ("all", "1, 2, 3, 4", 61.34, -90.0, True))),
    ),
    pictures=(Picture("tilt_torque", "Torque on the tilt drive over the tilt", tilt_torque()),),
    flips="A part of 6.4 kg instead of 5.1 kg would reach the rating.",
    fix="A plate of 9 kg opposite the motor side takes 11 N*m off.",
    assumed=("the drive's rating is meant for continuous duty",
             "gravity that helps the brake is not counted"),
    cautions=("Lift the unit by its eyes only; follow the machine's manual.",),
    sources=("common practice, no source: friction of ground steel faces 0.12 to 0.20",),
)  # fmt: skip

TURNS = Answer(
    question="turns",
    verdict=Verdict.CANNOT_TELL,
    headline="Cannot tell yet where the lines run: the bore at C180 and 1 more missing.",
    next_step="Touch the bore at C180 and write both centres into readings.csv.",
    figures=(Figure("tilt_z", "height of the tilt line", 143.21234, "mm", 0.0123),),
    missing=(
        Missing("the bore at C180", "cell.toml: readings.file", "its eccentricity is not known",
                "turn C to 180 and touch the bore again"),
        Missing("the stylus radius", "cell.toml: readings.ball_diameter",
                "touched faces lie one radius off", "measure the ball over a gauge block"),
    ),
)  # fmt: skip

FITS = Answer(
    question="fits",
    verdict=Verdict.NO,
    headline="No: with the tower upright 14.0 mm of head room are short.",
    next_step="Do not order; take the 20 mm plate out from under the unit and ask again.",
    figures=(Figure("head_room", "head room over the tower", -14.0, "mm", 1.0, 0.0, "min"),),
    tables=(
        Table("placements", "Placements, best first", tuple(
            Column(name, label, unit) for name, label, unit in (
                ("rank", "rank", ""), ("x", "machine X of the tilt line", "mm"),
                ("y", "machine Y of the tilt line", "mm"), ("yaw", "yaw", "deg"),
                ("slots", "T-slots used", ""), ("reach", "stations reached", ""),
                ("head", "head room", "mm"), ("hose", "longest hose", "mm"),
                ("door", "room to the door", "mm"), ("why", "what speaks against it", ""))),
            ((1, -42.5, 12.0, 0, "front and middle", "4 of 4", -14.0, 812.25, 61.0,
              "head room is short with the tower upright at the rear"),
             (2, 117.5, 12.0, 180, "middle and rear", "3 of 4", -14.0, 1044.0, 4.5,
              "the hose is too short; the door touches the motor"))),
    ),
    pictures=(Picture("plan", "Plan of the table, first placement", table_plan()),),
)  # fmt: skip

PAYS = Answer(
    question="pays",
    verdict=Verdict.YES,
    headline="Yes: it earns 12,500 EUR over 5 years and is paid back in 2.1 years.",
    next_step="Order the unit, and count the parts of the first quarter.",
    figures=(
        Figure("npv", "net present value", 12480.0, "EUR", 9800.0, 0.0, "min", "95 % of 10,000 "
               "draws, seed 1"),
        Figure("payback", "payback", 2.1, "years"),
    ),
    pictures=(Picture("tornado", "What matters most", tornado()),),
    flips="Below 840 parts a year it no longer pays.",
)  # fmt: skip

ANSWERS = (HOLDS, TURNS, FITS, PAYS)
