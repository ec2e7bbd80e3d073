"""What stands in the first cell file that ``gudgeon start`` writes: sections, remarks, examples.

All figures are invented; they stand behind ``#`` until a person puts the shop's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["LAYOUT", "Block", "Example"]


@dataclass(frozen=True, slots=True)
class Example:
    """One entry with an example value as TOML text, for a metric and an inch shop."""

    key: str
    metric: str
    inch: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Block:
    """One section of the file."""

    section: str
    remarks: tuple[str, ...]
    examples: tuple[Example, ...]
    repeated: bool = False

    @property
    def header(self) -> str:
        """The header as it stands in the file."""
        return f"[[{self.section}]]" if self.repeated else f"[{self.section}]"


E = Example

LAYOUT: Final = (
    Block("shop", (), (E("name", '"Our shop"'), E("units", '"mm"', '"in"'))),
    Block(
        "machine",
        ("The mill as it stands. Positions are what the machine displays with an empty spindle.",),
        (
            E("layout", '"moving table"'),
            E("travel_x", '["-762 mm", "0 mm"]', '["-30 in", "0 in"]'),
            E("travel_y", '["-406 mm", "0 mm"]', '["-16 in", "0 in"]'),
            E("travel_z", '["-508 mm", "0 mm"]', '["-20 in", "0 in"]'),
            E("gauge_to_table", '"620 mm"', '"24.4 in"', "gauge point over table top, Z at 0"),
            E("table_x", '["-840 mm", "80 mm"]', '["-33 in", "3 in"]', "ends of the table top"),
            E("table_y", '["-420 mm", "10 mm"]', '["-16.5 in", "0.4 in"]'),
            E("slots_along", '"X"'),
            E(
                "slot_positions",
                '["-330 mm", "-205 mm", "-80 mm"]',
                '["-13 in", "-8 in", "-3 in"]',
                "middle of each",
            ),
            E("slot_width", '"16 mm"', '"5/8 in"'),
            E("table_load", '"350 kg"', '"770 lb"', "machine's manual"),
            E("guard_right", '"650 mm"', '"25.5 in"', "from the spindle line to the guard"),
            E("column_behind", '"500 mm"', '"19.7 in"', "from the spindle line to the column"),
            E("nose_diameter", '"110 mm"', '"4.3 in"'),
        ),
    ),
    Block(
        "unit",
        ("The tilting rotary unit, from its data sheet or measured.",),
        (
            E("kind", '"tilt and rotary"'),
            E("tilt_range", '["-30 deg", "110 deg"]'),
            E("tilt_axis_height", '"180 mm"', '"7.1 in"', "over its base"),
            E("face_height", '"25 mm"', '"1 in"', "platter face over the tilt axis; - if below"),
            E("platter_diameter", '"200 mm"', '"8 in"'),
            E("body_right", '"310 mm"', '"12.2 in"', "from the rotary axis, along the tilt axis"),
            E("body_left", '"230 mm"', '"9 in"'),
            E("body_front", '"130 mm"', '"5.1 in"'),
            E("body_rear", '"130 mm"', '"5.1 in"'),
            E("body_height", '"240 mm"', '"9.5 in"'),
            E("lug_rows", '["-100 mm", "100 mm"]', '["-4 in", "4 in"]', "clamping lugs"),
            E("mass", '"85 kg"', '"187 lb"'),
            E("rated_load_flat", '"60 kg"', '"130 lb"'),
            E("rated_load_upright", '"35 kg"', '"77 lb"'),
            E("rated_tilt_torque", '"45 N*m"', '"33 lbf*ft"'),
            E("tilt_brake_torque", '"220 N*m"', '"160 lbf*ft"'),
            E("rotary_brake_torque", '"120 N*m"', '"88 lbf*ft"'),
        ),
    ),
    Block(
        "unit.flange",
        ("Holes and pilot of the platter.",),
        (
            E("pitch_circle", '"150 mm"', '"5.9 in"'),
            E("holes", '["0 deg", "60 deg", "120 deg", "180 deg", "240 deg", "300 deg"]'),
            E("pilot_kind", '"bore"'),
            E("pilot_diameter", '"50.02 mm"', '"2.001 in"'),
        ),
    ),
    Block(
        "placement",
        ("Where the unit stands, or shall stand.",),
        (
            E("tilt_along", '"X"'),
            E("centre_x", '"-381 mm"', '"-15 in"', "machine X over the rotary axis"),
            E("centre_y", '"-205 mm"', '"-8 in"', "machine Y over the rotary axis"),
        ),
    ),
    Block(
        "fixture",
        ("What is bolted on the platter, without the parts. Heights from the platter face.",),
        (
            E("mass", '"12 kg"', '"26 lb"'),
            E("mass_centre", '["0 mm", "0 mm", "60 mm"]', '["0 in", "0 in", "2.4 in"]'),
            E("shape", '"cylinder"'),
            E("radius", '"120 mm"', '"4.7 in"', "of everything about the rotary axis"),
            E("height", '"150 mm"', '"5.9 in"', "highest point, parts included"),
        ),
    ),
    Block(
        "fixture.flange",
        ("Holes and pilot of the fixture's foot.",),
        (
            E("pitch_circle", '"150 mm"', '"5.9 in"'),
            E("holes", '["0 deg", "60 deg", "120 deg", "180 deg", "240 deg", "300 deg"]'),
            E("hole_diameter", '"13.5 mm"', '"0.53 in"'),
            E("pilot_kind", '"boss"'),
            E("pilot_diameter", '"50.00 mm"', '"2.000 in"'),
        ),
    ),
    Block(
        "fixture.bolts",
        (),
        (E("size", '"M12"', '"1/2-13"'), E("torque", '"75 N*m"', '"55 lbf*ft"')),
    ),
    Block(
        "stations",
        (
            "One for each place for a part, in the order of loading. Platter frame: from the",
            "rotary axis and the platter face.",
        ),
        (
            E("name", '"1"'),
            E("part", '"body"'),
            E("at", '["0 mm", "-60 mm", "80 mm"]', '["0 in", "-2.4 in", "3.1 in"]'),
            E("turn", '"0 deg"'),
        ),
        repeated=True,
    ),
    Block(
        "parts",
        (),
        (E("name", '"body"'), E("mass", '"0.75 kg"', '"1.6 lb"')),
        repeated=True,
    ),
    Block(
        "parts.faces",
        ("One for each side that is machined; its zero from the origin of the part.",),
        (
            E("name", '"top"'),
            E("zero", '["0 mm", "0 mm", "40 mm"]', '["0 in", "0 in", "1.6 in"]'),
            E("normal", '"Z+"', "", "the side it looks to"),
        ),
        repeated=True,
    ),
    Block(
        "tools",
        (),
        (
            E("number", "1"),
            E("name", '"drill 8 mm"', '"drill 5/16"'),
            E("length", '"150 mm"', '"6 in"', "gauge point to tip"),
        ),
        repeated=True,
    ),
    Block(
        "operations",
        ("The cuts that push hardest.",),
        (
            E("name", '"drill the top"'),
            E("tool", "1"),
            E("part", '"body"'),
            E("face", '"top"'),
            E("at", '["0 mm", "-60 mm", "120 mm"]', '["0 in", "-2.4 in", "4.7 in"]'),
            E("measured_from", '"platter face"'),
            E("thrust", '"720 N"', '"160 lbf"', "down along the spindle"),
        ),
        repeated=True,
    ),
    Block(
        "control",
        (
            "Senses: +1 if plus turns the work right-handed about the machine axis it lies along,",
            "for the rotary axis counter-clockwise seen from above; else -1. Or enter jogs.",
        ),
        (
            E("tilt_letter", '"A"'),
            E("rotary_letter", '"C"'),
            E("tilt_sense", "-1"),
            E("rotary_sense", "-1"),
            E("offset_words", '["G54", "G55", "G56", "G57", "G58", "G59"]'),
            E("lengths_from", '"gauge"'),
        ),
    ),
    Block(
        "control.jogs",
        (
            "One for each axis: jog it a little with the unit empty and at zero, and write down",
            "what was seen. Watch the top of the platter for the tilt, its right rim for the turn.",
        ),
        (
            E("letter", '"A"'),
            E("by", '"5 deg"'),
            E("watched", '"Z+"', "", "where the mark sat: on top"),
            E("moved", '"Y+"', "", "where it went: to the back"),
        ),
        repeated=True,
    ),
    Block(
        "money",
        ('Write ranges where you are not sure, such as  "18 min to 24 min" .',),
        (
            E("investment", '"24900 EUR"'),
            E("running_cost", '"1500 EUR/yr"'),
            E("saved_per_part", '"18 min to 24 min"'),
            E("shop_rate", '"75 EUR/h"'),
            E("volume", '"1200 parts/yr"'),
        ),
    ),
    Block(
        "readings",
        ("Touches of the platter face and of a bore or pin, in a table beside this file.",),
        (
            E("file", '"readings.csv"'),
            E("ball_diameter", '"6 mm"', '"1/4 in"'),
            E("compensated", "false", "", "true if the radius is already taken off"),
            E("reading_u", '"0.003 mm"', '"0.0001 in"', "standard uncertainty of one reading"),
            E("wanted", '"0.05 mm"', '"0.002 in"', "error that the work can bear"),
        ),
    ),
)
"""The file from top to bottom."""
