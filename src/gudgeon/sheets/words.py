"""Words used here: every trade word of the sheets, explained in easy words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final

from gudgeon.sheets import find_sheets
from gudgeon.sheets._forms import form_of, texts_of, words_of
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Grid, Head, Sheet, Words

__all__ = ["NAME", "PLACE", "TITLE", "WORDS", "sheet"]

NAME: Final = "words"
TITLE: Final = "Words used here"
PLACE: Final = 900

WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "absolute": "counted from the zero, not from where the tool stands now",
        "accuracy": "how close to the right size a cut comes out",
        "angle": "how far something is turned",
        "arcsec": "a very small angle: 3600 of them make one degree",
        "axis": "one way in which the machine moves or turns; also the line about which it turns",
        "axis line": "the line about which an axis turns",
        "axis offset": "how far the two axis lines pass each other",
        "bearing": "the rings or balls in which a part turns",
        "bolt": "a screw that holds two things together",
        "bore": "a round hole that is cut to size",
        "burr": "a sharp bit of metal left at an edge",
        "cable": "the line that brings power to a motor",
        "calliper": "a tool with two arms that measures how wide a thing is",
        "cancel": "to take each other away",
        "centre": "the middle; for a unit: where its two axis lines run",
        "clamp": "to hold fast; also the thing that holds",
        "clear": "free of touch all the way, with some room left",
        "clearance": "room that is left between two things",
        "clocking": "how far the fixture is turned on the platter",
        "clockwise": "the way the hands of a clock turn; with counter before it: the other way",
        "column": "the standing part of the mill; also numbers that stand under each other",
        "commissioning": "all the work from the crate to the first good part",
        "common": "found in many shops",
        "control": "the box with screen and keys that runs the machine",
        "coordinate": "a place in X, Y or Z, as the screen shows it",
        "cradle": "the part of the unit that tilts",
        "crane": "a machine that lifts heavy things",
        "crate": "the wooden box in which the unit comes",
        "crosswise": "first one, then the one that lies across from it",
        "cutter": "the part of a tool that cuts",
        "cycle": "a program inside the control for one job, such as finding a bore",
        "data": "numbers that a maker gives",
        "deg": "degree of a turn: 360 of them make it full",
        "degc": "degree of temperature: water freezes at 0 and boils at 100",
        "degree": "of a turn: 360 make it full; of temperature: water freezes at 0, boils at 100",
        "dial": "a gauge with a hand that shows very small moves of its tip",
        "diameter": "how wide a round thing is, across its middle",
        "digit": "one figure of a number",
        "dimension": "a size on the drawing",
        "drift": "to move slowly without being pushed",
        "emergency": "danger that needs help at once; its stop is the big red button",
        "face height": "how high the platter face stands over the tilt line",
        "feature": "a face, a hole or a step of a part; of a check: what is touched",
        "feed": "how fast a tool cuts its way",
        "fixture": "what is bolted on the platter and holds the parts",
        "flange": "the flat ring with holes where two things are bolted together",
        "flute": "the cutting part of a tool, with its grooves",
        "force": "a push or a pull",
        "gap": "free room between two things",
        "gauge": "a tool that measures; its point: where the empty spindle begins",
        "grit": "fine hard sand or dust",
        "groove": "a long narrow cut",
        "gudgeon": "the program that made these sheets",
        "head": "the part of the mill that holds the spindle",
        "head room": "what is free under the spindle when Z is at its top",
        "holder": "what holds a tool in the spindle",
        "id": "the name of one row",
        "index": "to turn the unit from one pose to the next",
        "indicator": "another word for a dial",
        "jog": "to move one axis by hand with a key or a wheel of the control",
        "kink": "a sharp bend",
        "lever": "how far off the turning line a force pulls",
        "licensed": "allowed by law to do this work, with a paper that says so",
        "limit": "the most or the least that is allowed",
        "local": "of this place",
        "lost motion": "what an axis does not move at first when it is turned back",
        "lug": "an ear of the unit's foot through which a bolt goes",
        "main": "the switch or line that feeds the whole machine",
        "manual": "the book that its maker gives with a machine",
        "mass": "how heavy a thing is",
        "micrometer": "a gauge with a screw that closes on a part and shows how wide it is",
        "mill": "the machine with the spindle on whose table the unit stands",
        "minus": "less than zero; the other way",
        "motion": "a move",
        "nominal": "as the drawing has it",
        "normal": "the way straight out of a face",
        "offset": "where the zero of a face stands; the control keeps it under a word such as G54",
        "opposite": "on the other side, straight across",
        "outermost": "as far out as it goes",
        "override": "the knob that makes moves slower or faster",
        "parallel": "a bar whose sides run side by side all along; to run so",
        "pilot": "the round step that centres two flanges on each other",
        "platter": "the round plate of the unit that turns and carries the fixture",
        "plunger": "the tip of a dial that goes in and out",
        "plus": "more than zero; the way in which the numbers grow",
        "pose": "how the unit stands: its tilt and its turn",
        "position": "where something stands",
        "practice": "the way a thing is done in most shops",
        "press": "to push",
        "probe": "a stick with a ball at its tip that feels where a face is",
        "program": "the list of orders that the control follows",
        "proof": "a sum that shows that nothing can touch",
        "prove": "to show by a sum that nothing can touch",
        "quarantine": "keeping parts away from the good ones until somebody has looked at them",
        "range": "from the lowest to the highest",
        "rapid": "a move as fast as the machine goes, without cutting",
        "reach": "how far it goes; to come as far as that",
        "reading": "a number that was read off a gauge or screen",
        "reference": "the point from which a length counts",
        "register": "the place where the control keeps a number",
        "remark": "a short note",
        "reset": "the key that stops a program and clears it",
        "restriction": "something that you may not do",
        "rotary": "turning; so is called the axis that turns the platter",
        "rotary line": "the line about which the platter turns",
        "scale": "shows how heavy a thing is; of a drawing: how much smaller than the thing it is",
        "sense": "which way an axis turns when its number grows",
        "shim": "a thin sheet of metal put under something",
        "slot": "a long groove in the table for the nuts of the bolts",
        "source": "where a rule or number comes from",
        "spindle": "the part of the mill that turns the tool",
        "stale": "no longer right",
        "station": "the place of one part on the fixture",
        "stickout": "how far a tool stands out of its holder",
        "stroke": "how far something moves from end to end",
        "suspect": "maybe bad, until somebody has measured it",
        "temperature": "how warm or cold it is",
        "thermometer": "what shows how warm it is",
        "tighten": "to make tight",
        "tilt": "to lean over; so is called the axis that leans the cradle",
        "tilt line": "the line about which the cradle tilts",
        "tolerance": "how far a size may be off",
        "tool length": "how far the tip of a tool stands off the point from which lengths count",
        "torque": "how hard something is turned, or turns by itself",
        "tower": "a fixture with a side for parts all round",
        "tram": "how far the tilt line runs off the way of the table",
        "travel": "how far an axis can go",
        "trunnion": "the unit: a cradle that tilts, with a platter that turns",
        "uncertainty": "how far a number may be wrong; +- stands before it",
        "unit": "what stands on the table and tilts and turns the parts",
        "usual": "as it is on most days",
        "vise": "two jaws that hold a part",
        "warm-up": "moving the machine until it is as warm as in work",
        "width": "how wide a thing is",
        "within": "not more than",
        "work offset": "the zero of one face, as the control keeps it: it has a word such as G54",
        "wrench": "the tool that turns a bolt; for torque: one that clicks when it is tight enough",
        "yaw": "how far the unit is turned on the table, seen from above",
        "zero": "the point from which numbers count",
    }
)
"""Head words, in small letters, and what they mean in this shop; in the order of the alphabet."""

SHOWN: Final = {"degc": "degC"}
"""Head words that are not written in small letters."""


def sheet(known_facts: Known) -> Sheet:
    """Return the list of those words that occur on the sheets that are printed."""
    used: set[str] = set()
    for one in _others(known_facts):
        for text in texts_of(one):
            used |= _heads_in(text)
    # A word that explains another one is explained too.
    todo = list(used)
    while todo:
        more = _heads_in(WORDS[todo.pop()]) - used
        used |= more
        todo += more
    rows = tuple((SHOWN.get(word, word), WORDS[word]) for word in WORDS if word in used)
    heads = (Head("word", "word"), Head("means", "what it means here"))
    return Sheet(
        NAME,
        TITLE,
        "Hangs beside the other sheets. Look here when a word is new to you.",
        (
            Words("Only the words that stand on the sheets of this print are told."),
            Grid("words", "Trade words", heads, rows),
        ),
    )


def _others(known_facts: Known) -> Iterator[Sheet]:
    """Yield the sheets that are printed with this one; all of them where there is no other."""
    every = [name for name in find_sheets() if name != NAME]
    printed = [name for name in every if name in (known_facts.printed or ())]
    for name in printed or every:
        try:
            yield known_facts.sheet(name)
        except Exception:  # whatever it is, the face tells it of that sheet
            continue


def _heads_in(text: str) -> set[str]:
    found = (form_of(word, WORDS) for word in words_of(text))
    low = text.lower()
    phrases = {head for head in WORDS if " " in head and head in low}
    return {word for word in found if word is not None} | phrases
