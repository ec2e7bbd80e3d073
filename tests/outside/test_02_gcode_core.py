"""Outside values of topic 02: what the reader of programs makes of each row (NISTIR 6556)."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations, permutations, product
from math import degrees, hypot, radians
from typing import Any

import pytest

from gudgeon.program.dialect import Dialect
from gudgeon.program.doubts import Code, Grade
from gudgeon.program.track import FeedKind, Kind
from tests.outside import rows
from tests.program.nist import (
    NIST,
    SYSTEMS,
    clean,
    end,
    is_error,
    moves,
    moving,
    run,
    stops,
    xyz,
)

ROWS = rows("02-gcode-core")

NOT_CHECKED = {
    "GC-065": "numbered parameters of that one interpreter; the cell describes other variables",
    "GC-068": "numbered parameters of that one interpreter; the cell holds the points",
    "GC-070": "numbered parameters of that one interpreter",
    "GC-096": "limits of that one interpreter: controls take more words, characters and numbers",
    "GC-097": "limit of that one interpreter: controls take block numbers of more digits",
    "GC-124": "a probing move is read as a move that ends at a touch; how near it may start is the "
    "control's own check",
    "GC-125": "numbered parameters of that one interpreter; unknown unless the cell describes them",
    "GC-126": "a probing move is read as a move that ends at a touch; what more the control "
    "refuses leaves its path as it is",
    "GC-127": "a sum of measuring; the reader does not measure",
    "GC-131": "how the axes of a rapid are led belongs to the machine, not to the program: a row "
    "holds its end",
}

GROUP_ROWS = [f"GC-{number}" for number in range(100, 116)]

MAY_SHARE = {
    # Pairs of one group that a block may hold here.
    **{
        frozenset({"G80", word}): "a safe line ends a cycle and sets a motion (common practice)"
        for word in ("G0", "G1", "G2", "G3", "G38.2")
    },
    **{
        frozenset({"G53", word}): "machine coordinates belong to the motion, which comes after"
        for word in ("G4", "G10", "G28", "G30", "G92", "G92.1", "G92.2", "G92.3")
    },
    **{
        frozenset(pair): "declared to move nothing: what is on or off changes no motion"
        for pair in (*combinations(("M7", "M8", "M9"), 2), ("M48", "M49"))
    },
}


def given(name: str, row: str) -> Any:
    return ROWS[row]["inputs"][name]


# --- arcs -----------------------------------------------------------------------------------------


def arc(row: str, start_z: float = 9.0) -> tuple[Any, Any]:
    block = ROWS["GC-001"]["inputs"]["block"]
    track = clean(f"{block} F100", (7.0, 7.0, start_z))
    (circle,) = track.arcs
    assert xyz(moving(track)[0]) == [10.0, 16.0, 9.0]
    return circle, track


def arc_length(start_z: float) -> float:
    circle, track = arc("GC-005", start_z)
    radius = hypot(7.0 - circle["centre"][0], 7.0 - circle["centre"][1])
    return hypot(radius * circle["sweep"], track.segments["end"][0][2] - start_z)


def both_radii() -> float:
    circle, track = arc("GC-002")
    (x, y, _), (to_x, to_y, _) = circle["centre"], xyz(track.segments[0])
    assert hypot(to_x - x, to_y - y) == pytest.approx(hypot(7.0 - x, 7.0 - y), abs=1e-12)
    return hypot(7.0 - x, 7.0 - y)


def radii_limit(unit: str) -> float:
    """Return the limit of a dialect that declares none, if reading goes by it."""
    limit = Dialect().arc_tolerance_inch if unit == "G20" else Dialect().arc_tolerance_mm
    inside, outside = 1.0 + 0.99 * limit, 1.0 + 1.01 * limit
    start = 25.4 if unit == "G20" else 1.0
    clean(f"{unit} G3 X0 Y{inside:.9f} I-1 F10", (start,))
    is_error(Code.ARC_RADII, f"{unit} G3 X0 Y{outside:.9f} I-1 F10", (start,))
    return limit


def near_the_limit() -> list[str]:
    x, y = given("start", "GC-008")
    _, good = given("end_ok", "GC-008")
    _, bad = given("end_bad", "GC-008")
    clean(f"G3 X0 Y{good} I{-x} F10", (x, y))
    return ["accepted", is_error(Code.ARC_RADII, f"G3 X0 Y{bad} I{-x} F10", (x, y))]


def by_radius(row: str) -> list[float]:
    (x, y), radius = given("end", row), given("R", row)
    word = "G3" if "G3" in ROWS[row]["what"] else "G2"
    (circle,) = clean(f"{word} X{x} Y{y} R{radius} F100", given("start", row)).arcs
    assert (circle["sweep"] > 0.0) == (word == "G3")
    return [circle["centre"][0], circle["centre"][1], degrees(abs(circle["sweep"]))]


def whole_circle() -> str:
    (circle,) = clean("G3 X7 Y7 I5 F10", (7.0, 7.0)).arcs
    assert degrees(circle["sweep"]) == pytest.approx(360.0)
    return "full circle allowed"


def plane_axes() -> list[str]:
    found = []
    for word, block in (("G17", "X2 I1"), ("G18", "X2 I1"), ("G19", "Y2 J1")):
        (circle,) = clean(f"{word} G2 {block} F10").arcs
        found.append("".join(a for a, n in zip("XYZ", circle["normal"], strict=True) if not n))
    return found


def centre_letters() -> list[str]:
    found = []
    for word, end_words in (("G17", "X2"), ("G18", "X2"), ("G19", "Y2")):
        taken = []
        for letter in "IJK":
            track = run(f"{word} G2 {end_words} {letter}1 F10")
            worst = None if track.worst is None else track.worst.code
            assert worst in (None, Code.ARC_RADII, Code.ARC_NO_CENTRE)
            if worst is not Code.ARC_NO_CENTRE:
                taken.append(letter)
        found.append(" ".join(taken))
    return found


# --- cycles ---------------------------------------------------------------------------------------


def cycle(row: str, block: str | None = None, start: Any = None) -> list[str]:
    block = given("block", row) if block is None else block
    track = clean(f"F100\n{block}", given("start", row) if start is None else start)
    text = []
    for kind, *at in moves(track):
        assert at == pytest.approx([round(one, 9) for one in at], abs=1e-12)
        text.append(" ".join([kind, *(f"{one:.9g}" for one in at)]))
    return text


def dwell_of_82() -> str:
    plain = clean("F100 G98 G81 X4 Y5 Z1.5 R2.8", (1.0, 2.0, 3.0))
    track = clean("F100 G98 G82 X4 Y5 Z1.5 R2.8 P2.5", (1.0, 2.0, 3.0))
    assert moves(track) == moves(plain)
    kinds = [int(row["kind"]) for row in track.segments]
    (dwell,) = [row for row in track.segments if row["kind"] == Kind.DWELL]
    assert kinds.index(Kind.DWELL) == kinds.index(Kind.LINE) + 1  # right after the feed to Z
    assert (dwell["feed"], dwell["feed_kind"]) == (2.5, FeedKind.SECONDS)
    return "dwell P seconds at Z"


def peck() -> list[str]:
    track = clean("F100 G99 G83 X0 Y0 Z-9 R1 Q3", (0.0, 0.0, 1.0), peck_clear_mm=0.25)
    down, out, back, *_ = moves(track)
    assert down == ("F", 0.0, 0.0, -2.0)
    assert out == ("T", 0.0, 0.0, 1.0)
    assert back == ("T", 0.0, 0.0, -1.75)
    return [
        "feed down by Q or to Z",
        "rapid to clear Z",
        "rapid down to hole bottom backed off a bit",
    ]


def pecks() -> int:
    r, z, q = (given(name, "GC-036") for name in "RZQ")
    track = clean(f"F100 G99 G83 X0 Y0 Z{z} R{r} Q{q}", (0.0, 0.0, r))
    assert [at[3] for at in moves(track) if at[0] == "F"] == [-2.0, -5.0, -8.0, -9.0]
    return sum(1 for at in moves(track) if at[0] == "F")


def tapping_speed() -> float:
    """Return the speed [1/min] that goes with a feed and a thread: as the rows hold both."""
    feed, threads = given("F", "GC-038"), given("threads_per_mm", "GC-038")
    speed = float(ROWS["GC-038"]["expected"])
    track = clean(f"S{speed} M3\nG84 X1 Y1 Z-5 R2 F{feed}", (0.0, 0.0, 5.0))
    (cut, *_) = [row for row in track.segments if row["kind"] == Kind.LINE]
    turns_per_s = track.in_force[cut["force"]].speed_per_s
    assert turns_per_s == pytest.approx(cut["feed"] * threads)
    return 60.0 * float(cut["feed"]) * threads


def ways_out() -> list[str]:
    found = []
    for word in ("G85", "G86", "G89"):
        track = clean(f"S100 M3 F100\nG99 {word} X0 Y0 Z-5 R2 P1", (0.0, 0.0, 2.0))
        hole = [row for row in track.segments if row["line"] == 2]
        out = [row for row in hole if row["kind"] <= Kind.LINE][-1]
        text = "traverse" if out["kind"] == Kind.RAPID else "feed"
        if track.in_force[out["force"]].spindle == 0:
            text += " with spindle stopped"
        if word == "G89" and any(row["kind"] == Kind.DWELL for row in hole):
            text += " after dwell"
        found.append(text)
    return found


def repeat_word() -> list[str]:
    zero = is_error(Code.CYCLE_REPEATS, "F9\nG91 G81 X4 Z-1 R-1 L0", (0.0, 0.0, 5.0))
    once = clean("F9\nG91 G99 G81 X4 Z-1 R-1", (0.0, 0.0, 5.0))
    holes = [row for row in once.segments if row["kind"] == Kind.LINE]
    more = clean("F9\nG90 G99 G81 X4 Z1 R2 L3\nX8", (0.0, 0.0, 5.0))
    later = [row for row in more.segments if row["kind"] == Kind.LINE and row["line"] == 3]
    assert len([row for row in more.segments if row["kind"] == Kind.LINE]) == 3 + len(later)
    return [zero, str(len(holes)), "not sticky" if len(later) == 1 else "sticky"]


def sticky_words() -> list[bool]:
    track = clean("F9\nG90 G99 G81 X4 Z1 R2\nX8", (0.0, 0.0, 5.0))
    later = [xyz(row)[2] for row in moving(track) if row["line"] == 3]
    return [later[-1] == 2.0, 1.0 in later]


def not_with_a_cycle() -> list[str]:
    block = "G81 X1 Y1 Z-1 R2"
    return [
        is_error(Code.CYCLE_NOT_HERE, f"F9\n{block} A10"),
        is_error(Code.CYCLE_NOT_HERE, f"G93\n{block} F9"),
        is_error(
            Code.CYCLE_NOT_HERE,
            f"G41 D1 F9\nG1 X9\nX20\n{block}",
            cutter_lead="square to next",
            cutter_corner="arc",
        ),
    ]


def axis_words_after_80() -> str:
    blocks = ("G81 X1 Z-1 R1\nG80", "G1 X1\nG80", "G81 X1 Z-1 R1\nG80 G90")
    return {is_error(Code.MOTION_OFF, f"F9\n{block}\nX1") for block in blocks}.pop()


# --- offsets --------------------------------------------------------------------------------------


def system(row: str) -> list[int]:
    """Return number and variable of a system if a program finds what it wrote by both."""
    number, variable = ROWS[row]["expected"]
    word = ROWS[row]["what"].partition(":")[0]
    track = clean(f"G10 L2 P{number} X3.5\n{word} G0 X0\nY[#{variable} * 2]")
    assert end(track)[:2] == pytest.approx([3.5, 7.0])
    return [SYSTEMS.index(word) + 1, variable]


def written_offset() -> list[Any]:
    before = {"G54": (1.0, 2.0, 3.0, radians(4.0), radians(5.0))}
    program = "G10 L2 P1 X3.5 Y17.2\nG0"
    found = []
    for number in range(5221, 5226):
        found.append(end(clean(f"{program}\nG53 X#{number}", offsets=before))[0])
    untouched = found[2:] == pytest.approx([3.0, 4.0, 5.0])
    return [{"p5221": found[0], "p5222": found[1]}, "unchanged" if untouched else found[2:]]


def written_nowhere() -> str:
    # P0 is an alarm there and a common shift of all offsets elsewhere: that is a doubt here.
    assert stops("G10 L2 P0 X1")[0] is not Grade.NOTE
    return {is_error(Code.NOT_WHOLE, f"G10 L2 P{p} X1") for p in ("10", "1.5", "-1")}.pop()


def shift_of(program: str, start: float, **changes: Any) -> float:
    track = clean(program, (start,), **changes)
    return track.in_force[int(track.segments["force"][-1])].shift[0]


def shifted() -> list[float]:
    start = given("X", "GC-062")
    new_x = end(clean("G92 X7\nG53 G0 Y#5420", (start,)))[1]
    return [shift_of("G92 X7", start), new_x]


def all_systems_shifted() -> list[Any]:
    count = 0
    for word in SYSTEMS:
        track = clean(f"G92 X7\n{word}\nG0 X7", (4.0,))
        count += end(track)[0] == 4.0
    none = shift_of("G91 G92 X7", 4.0) == shift_of("G90 G92 X7", 4.0)
    return [count, "none" if none else "some"]


def ends_of_shift() -> list[str]:
    assert shift_of("G92 X7", 4.0) == -3.0
    assert shift_of("G92 X7\nG92.1", 4.0) == 0.0
    assert shift_of("G92 X7\nG92.1\nG92.3", 4.0) == 0.0
    assert shift_of("G92 X7\nG92.2", 4.0) == 0.0
    assert shift_of("G92 X7\nG92.2\nG92.3", 4.0) == -3.0
    return [
        "offsets zero and parameters zero",
        "offsets zero, parameters kept",
        "offsets from parameters",
    ]


def where_all_add_up() -> float:
    origin, at = given("origin", "GC-067"), given("program", "GC-067")
    offsets = {"G54": (origin, 0.0, 0.0, 0.0, 0.0)}
    program = f"G92 X{at}\nG0 X0\nX{at}"
    assert shift_of(program, 104.0, offsets=offsets) == given("g92_offset", "GC-067")
    return end(clean(program, (104.0,), offsets=offsets))[0]


def machine_word() -> list[str]:
    offsets = {"G54": (100.0, 0.0, 0.0, 0.0, 0.0)}
    assert end(clean("G53 G0 X1\nX2", offsets=offsets))[0] == 102.0
    assert end(clean("G53 G1 X1 F9"))[0] == 1.0
    for block in ("G2 X1 I1", "G81 X1 Z-1 R1", "G80 X1", "G38.2 X1"):
        is_error(Code.MACHINE_MOTION, f"F9\nG53 {block}")
    return ["not modal", "G0 or G1 only"]


# --- feed -----------------------------------------------------------------------------------------


def minutes(row: Any) -> float:
    """Return how long a feed row from zero takes, by what its feed is said to mean."""
    x, y, z, a, b = map(float, row["end"])
    length = {
        FeedKind.PER_S: 1.0,
        FeedKind.MM_PER_S: hypot(x, y, z),
        FeedKind.RAD_PER_S: hypot(a, b),
    }[FeedKind(row["feed_kind"])]
    return length / float(row["feed"]) / 60.0


def line(block: str) -> Any:
    return clean(block).segments[0]


def inverse_of_a_turn() -> float:
    move, rate = given("move", "GC-081"), given("rate", "GC-081")
    wanted = minutes(line(f"G94 F{rate} A{move}"))
    assert minutes(line(f"G93 F{1.0 / wanted} A{move}")) == pytest.approx(wanted)
    return 1.0 / wanted


def along() -> str:
    row = line("X30 Y40 A90 F100")
    assert (row["feed_kind"], row["feed"]) == (FeedKind.MM_PER_S, pytest.approx(100.0 / 60.0))
    return "XYZ path as if rotary axes stood still"


def unit_of_turn() -> str:
    row = line("A90 F100")
    assert row["feed_kind"] == FeedKind.RAD_PER_S
    return {100.0: "deg/min"}[round(degrees(float(row["feed"])) * 60.0, 9)]


# --- text -----------------------------------------------------------------------------------------


def worked(expression: str) -> float:
    return end(clean(f"G0 X[{expression}]"))[0]


def kept_for_the_next_block() -> list[float]:
    return end(clean("#3=15\n#3=6 G1 X#3 F9\nY#3"))[:2]


def same_words() -> str:
    one, other = clean("g0x +0. 12 34y 7"), clean(ROWS["GC-093"]["expected"])
    assert one.segments["end"].tolist() == other.segments["end"].tolist()
    assert xyz(one.segments[0]) == [0.1234, 7.0, 0.0]
    return str(ROWS["GC-093"]["expected"])


def order_matters() -> bool:
    words = ("G1", "X3", "#3=15", "F20", "G91")
    found = {
        clean(" ".join(order) + "\nY#3").segments["end"].tobytes() for order in permutations(words)
    }
    return len(found) > 1


def degrees_everywhere() -> str:
    straight = [worked(f"{name}[45]") for name in ("SIN", "COS", "TAN")]
    assert straight == pytest.approx([0.5**0.5, 0.5**0.5, 1.0])
    back = [worked(text) for text in ("ASIN[0.5]", "ACOS[0.5]", "ATAN[1]", "ATAN[1]/[1]")]
    assert back == pytest.approx([30.0, 60.0, 45.0, 45.0])
    return "deg"


def letters() -> list[str]:
    """Return the letters that a word may begin with; O is checked in its own test."""
    found = []
    strange = (Code.WORD_UNKNOWN, Code.AXIS_UNKNOWN)
    for letter in "ABCDEFGHIJKLMNPQRSTUVWXYZ":
        # Only two turning axes can be declared at a time.
        codes = []
        for axes in ("AB", "AC"):
            declared = {**{a: i for i, a in enumerate("XYZ")}, axes[0]: 3, axes[1]: 4}
            worst = run(f"{letter}1", axes=declared).worst
            codes.append(None if worst is None else worst.code)
        if not all(code in strange for code in codes):
            found.append(letter)
    return found


def dwells() -> list[str]:
    (row,) = [row for row in clean("G4 P1.5").segments if row["kind"] == Kind.DWELL]
    unit = "s" if (row["feed"], row["feed_kind"]) == (1.5, FeedKind.SECONDS) else "?"
    return [is_error(Code.DWELL_NEGATIVE, "G4 P-1"), unit]


def no_end() -> str:
    from gudgeon.program.reader import read

    track = read(b"G0 X1\n", NIST)
    worst = track.worst
    assert worst is not None and worst.code is Code.NO_END
    assert not read(b"%\nG0 X1\n%\n", NIST).doubts
    return "error" if worst.grade is Grade.ERROR else "?"


def after_tool_change() -> list[str]:
    track = clean("S100 M3 M8\nG0 X5\nT2 M6\nY6")
    change = [row for row in track.segments if row["line"] == 3]
    after = track.in_force[int(track.segments["force"][-2])]
    return [
        "stopped" if after.spindle == 0 and after.tool == 2 else "?",
        "?" if any(row["kind"] == Kind.OTHER for row in change) else "unchanged",
        "same absolute position" if end(track)[:2] == [5.0, 6.0] else "?",
    ]


CHECKS: dict[str, Callable[[], Any]] = {
    "GC-001": lambda: arc("GC-001")[0]["centre"][:2],
    "GC-002": both_radii,
    "GC-003": lambda: -degrees(arc("GC-003")[0]["sweep"]),
    "GC-004": lambda: arc_length(given("start_z", "GC-004")),
    "GC-005": lambda: arc_length(given("start_z", "GC-005")),
    "GC-006": lambda: radii_limit("G20"),
    "GC-007": lambda: radii_limit("G21"),
    "GC-008": near_the_limit,
    **{row: lambda row=row: by_radius(row) for row in map("GC-{:03d}".format, range(10, 16))},
    "GC-020": lambda: is_error(Code.ARC_FULL_WITH_R, "G2 X7 Y7 R5 F10", (7.0, 7.0)),
    "GC-021": whole_circle,
    "GC-022": lambda: is_error(Code.ARC_NO_END, "G2 I5 F10"),
    "GC-023": plane_axes,
    "GC-024": centre_letters,
    "GC-030": lambda: cycle("GC-030"),
    "GC-031": lambda: cycle("GC-031"),
    "GC-032": lambda: cycle("GC-032")[-1],
    "GC-033": lambda: cycle("GC-033"),
    "GC-034": dwell_of_82,
    "GC-035": peck,
    "GC-036": pecks,
    "GC-037": lambda: {
        is_error(Code.CYCLE_PECK, f"F9\nG83 X1 Y1 Z-5 R2 Q{q}") for q in (0, -1)
    }.pop(),
    "GC-038": tapping_speed,
    "GC-039": lambda: {
        is_error(Code.SPINDLE_NEEDED, f"F9 S9 {word}\nG84 X1 Y1 Z-5 R2") for word in ("M5", "M4")
    }.pop(),
    "GC-040": ways_out,
    "GC-041": lambda: is_error(Code.SPINDLE_NEEDED, "F9\nG86 X1 Y1 Z-5 R2 P1"),
    "GC-042": repeat_word,
    "GC-043": sticky_words,
    "GC-044": lambda: is_error(Code.CYCLE_R_BELOW_Z, "F9\nG81 X1 Y1 Z2 R1"),
    "GC-045": not_with_a_cycle,
    "GC-046": axis_words_after_80,
    **{row: lambda row=row: system(row) for row in map("GC-{:03d}".format, range(50, 59))},
    "GC-060": written_offset,
    "GC-061": written_nowhere,
    "GC-062": shifted,
    "GC-063": lambda: shift_of("G92 X7\nG92 X9", 4.0),
    "GC-064": all_systems_shifted,
    "GC-066": ends_of_shift,
    "GC-067": where_all_add_up,
    "GC-069": lambda: len(moving(clean("G28", (1.0, 2.0, 3.0)))),
    "GC-071": machine_word,
    "GC-080": lambda: minutes(line(f"G93 F{given('F', 'GC-080')} X9")),
    "GC-081": inverse_of_a_turn,
    "GC-082": lambda: is_error(Code.FEED_MISSING, "G93 F2 X1\nX2"),
    "GC-083": along,
    "GC-084": lambda: minutes(line("X30 Y40 A90 F100")),
    "GC-085": unit_of_turn,
    "GC-086": lambda: minutes(line("A30 B40 F100")),
    "GC-087": lambda: line("A90 F360")["feed"] * 60.0 * given("r", "GC-087"),
    "GC-090": lambda: worked("2.0 / 3 * 1.5 - 5.5 / 11.0"),
    "GC-091": lambda: [worked(f) for f in ("FIX[2.8]", "FIX[-2.8]", "FUP[2.8]", "FUP[-2.8]")],
    "GC-092": kept_for_the_next_block,
    "GC-093": same_words,
    "GC-094": lambda: end(clean("#3=15 #3=6\nG0 X#3"))[0],
    "GC-095": order_matters,
    "GC-098": degrees_everywhere,
    "GC-099": letters,
    "GC-120": lambda: is_error(Code.GROUP_TWICE, "G17 G18"),
    "GC-123": after_tool_change,
    "GC-128": dwells,
    "GC-129": no_end,
    "GC-130": lambda: [letter for letter in ROWS["GC-130"]["expected"] if letter in letters()],
}

OWN_TESTS = ["GC-121", "GC-122", *GROUP_ROWS]


@pytest.mark.parametrize("row", sorted(CHECKS))
def test_the_reader_agrees_with_the_row(row: str) -> None:
    want = ROWS[row]
    got = CHECKS[row]()
    expected = want["expected"]
    texts = isinstance(expected, str) or (
        isinstance(expected, list) and any(isinstance(one, (str, bool, dict)) for one in expected)
    )
    if texts:
        assert got == expected, want["source"]
    else:
        assert got == pytest.approx(expected, rel=0, abs=max(want["tolerance"], 1e-9))


def clash(words: tuple[str, str]) -> bool:
    worst = run(" ".join(words)).worst
    return worst is not None and worst.code is Code.GROUP_TWICE


@pytest.mark.parametrize("row", GROUP_ROWS)
def test_two_words_of_one_group_are_refused(row: str) -> None:
    members = ROWS[row]["expected"]
    for pair in combinations(members, 2):
        assert clash(pair) == (frozenset(pair) not in MAY_SHARE), pair
    for word in members:
        if not word.startswith("M") or word in ("M3", "M6"):
            assert clash((word, word)), word


def test_words_of_different_groups_may_stand_together() -> None:
    groups = [ROWS[row]["expected"] for row in GROUP_ROWS]
    for one, other in combinations(groups, 2):
        for pair in product(one, other):
            assert not clash(pair), pair


def test_order_of_execution() -> None:
    """GC-121; here the unit and the feed mode come first, so that F of the block is in them."""
    listed = ROWS["GC-121"]["expected"]
    track = clean("M0 G4 P1 M48 M8 M3 M6 T1 S100 F9 (comment)")
    kinds = [Kind(row["kind"]) for row in track.segments if row["line"] == 1]
    assert kinds == [Kind.TOOL_CHANGE, Kind.SPINDLE, Kind.OTHER, Kind.DWELL, Kind.STOP]
    assert (
        [listed.index(one) for one in ("M6", "M3 M4 M5", "M7 M8 M9", "G4")]
        == sorted(listed.index(one) for one in ("M6", "M3 M4 M5", "M7 M8 M9", "G4"))
    )  # fmt: skip
    offsets = {"G54": (0.0,) * 5, "G55": (100.0, 0.0, 0.0, 0.0, 0.0)}
    track = clean("G91\nM0 X1 Z2 G1 G98 G90 G64 G55 G43 H1 G40 G20 G18 F10 G94", offsets=offsets)
    block = [row for row in track.segments if row["line"] == 2]
    assert [Kind(row["kind"]) for row in block] == [
        Kind.OFFSET_CHANGE,
        Kind.OFFSET_CHANGE,
        Kind.LINE,
        Kind.STOP,
    ]
    length, offset, cut, _ = block
    assert track.in_force[length["force"]].length_mm == 120.0
    assert track.in_force[length["force"]].offset == "G54"
    assert track.in_force[offset["force"]].offset == "G55"
    assert xyz(cut) == pytest.approx([125.4, 0.0, 120.0 + 50.8])
    assert cut["feed"] == pytest.approx(254.0 / 60.0)
    # A shift comes before the motion, a return to the reference point too.
    assert end(clean("X5 G92.1 G0", (4.0,)))[0] == 5.0
    assert end(clean("G92 X7\nX5 G0 G92.2", (4.0,)))[0] == 5.0


@pytest.mark.parametrize("word", ["M2", "M30"])
def test_the_end_stops_the_spindle_and_the_reading(word: str) -> None:
    """GC-122: M5; what else is in force when a program starts is the cell's own entry."""
    assert "M5" in ROWS["GC-122"]["expected"]
    track = clean(f"S9 M3\nG0 X1\n{word}\nX2")
    assert track.in_force[int(track.segments["force"][-1])].spindle == 0
    assert end(track)[0] == 1.0


def test_a_program_number_is_a_word_of_its_own() -> None:
    """O carries no meaning in NISTIR 6556, Table 3; on mills it begins a program."""
    assert "O" not in ROWS["GC-099"]["expected"]
    assert end(clean("O1234\nG0 X1"))[0] == 1.0
    assert stops("G0 X1\nX2 O7") == (Grade.CANNOT_TELL, Code.WORD_UNKNOWN)


def test_every_row_is_checked_or_listed_with_its_reason() -> None:
    assert sorted([*CHECKS, *OWN_TESTS, *NOT_CHECKED]) == sorted(ROWS)
    assert all(NOT_CHECKED.values()) and all(MAY_SHARE.values())
