"""Programs of our own, read back and proven before they are offered.

A program is read by the reader of all programs, with nothing known before it.  It must go exactly
where it was meant to, and every move must be proven, as the box of all positions between its ends:
from every state that its stated start allows, whatever way an axis goes.  The bodies, the clearance
and the proofs are those of the question "clears".
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings.changing import ChangingFindings
from gudgeon.findings.cleared import ClearedFindings
from gudgeon.findings.control import BRAKE_FLAGS
from gudgeon.findings.gather import Lacking
from gudgeon.findings.hose_bodies import HANGS
from gudgeon.findings.proofs import CONTACT_MM, between
from gudgeon.findings.written import TILT, TURN, Block, ControlWords, Written, X, Y, Z
from gudgeon.program.dialect import UNKNOWN, TurningRule
from gudgeon.program.doubts import Grade
from gudgeon.program.reader import read
from gudgeon.program.summary import MOVES
from gudgeon.program.track import Ended, Flag, Kind, Track
from gudgeon.quantity.kinds import Kind as Quantity

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import Proof
    from gudgeon.clearance.scene import Body

__all__ = ["Hand", "NotOfferedError", "Start", "WrittenFindings"]

Floats = NDArray[np.float64]

READ_TOL: Final = (1e-3, 1e-3, 1e-3, math.radians(6e-4), math.radians(6e-4))
"""What is read back may differ from what was written by rounding alone [mm, rad]."""

STILL_TOL: Final = (1e-9, 1e-9, 1e-9, 1e-12, 1e-12)

LIMIT_SLACK: Final = 1e-6

INSIDE_RAD: Final = math.radians(0.05)
"""A range of tilt or turn that something stops is used up to so near its end."""

FULL_TURN: Final = 2.0 * math.pi

_LISTED: Final = "Leave the spindle empty, or put in a tool of the list."


@dataclass(frozen=True, slots=True)
class Start:
    """The states in which a program may be started.

    Attributes
    ----------
    low, high : ndarray, shape (5,)
        Where each joint may stand [mm, rad].
    free : tuple of int
        Joints that may stand anywhere in their travel.
    """

    low: Floats
    high: Floats
    free: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Hand:
    """What may hang in the spindle.

    Attributes
    ----------
    name : str
        Such as "T3".
    bodies : tuple of Body
    words : str
        What to hang there, as an order.
    """

    name: str
    bodies: tuple[Body, ...]
    words: str


class WrittenFindings(ChangingFindings, ClearedFindings):
    """What programs of our own share: words, states to start from, the proof."""

    @cached_property
    def control_words(self) -> ControlWords:
        """The control's words for writing blocks; raises `Lacking` for a letter or sense."""
        senses = self.senses
        letters = (senses.tilt_letter or "", senses.rotary_letter)
        dialect = self.control_for(b"").dialect
        return ControlWords(self.cell.control, dialect, letters, inch=self.units.inch)

    @cached_property
    def free_start(self) -> Start:
        """Any place in the safe limits, Z at its top, any tilt and turn; raises `Lacking`.

        Where a guard or the unit itself stops an axis, the range ends before that by what is asked
        of every motion, at a round figure.
        """
        from gudgeon.clearance.envelope import SafeBox

        ranges, words = self.ranges, self.control_words
        limits = self.safe_limits
        if limits.box is None:
            pair = limits.failed.pair if limits.failed is not None else ()
            met = " and ".join(name for name in pair if name)
            raise NotOfferedError(
                "no place of the table is clear for all tilts and turns" + (met and f" ({met})")
            )
        if not isinstance(limits.itself, SafeBox):
            raise NotOfferedError(f"{' and '.join(limits.itself.pair)} meet in every pose tried")
        low, high = ranges.low.copy(), ranges.high.copy()
        low[Z] = high[Z]
        free = []
        for joints, box, inside, digit in (
            ((X, Y), limits.box, self.asked_mm, 1.27 if words.inch else 1.0),
            ((TILT, TURN), limits.itself, INSIDE_RAD, words.digit_rad),
        ):
            for joint in joints:
                stops = [box.stop(joint, sign) is not None for sign in (-1, 1)]
                ends = (
                    float(box.low[joint]) + inside * stops[0],
                    float(box.high[joint]) - inside * stops[1],
                )
                low[joint], high[joint] = _inwards(*ends, digit)
                if low[joint] > high[joint]:
                    middle = 0.5 * (float(box.low[joint]) + float(box.high[joint]))
                    low[joint] = high[joint] = words.as_written(joint, middle)
                if joint == TURN and self.ranges.endless and not any(stops):
                    low[joint], high[joint] = float(box.low[joint]), float(box.high[joint])
                if not any(stops):
                    free.append(joint)
        if not self.has_tilt:
            low[TILT] = high[TILT] = 0.0
        return Start(low, high, tuple(free))

    def narrowed(self, start: Start, share: float) -> Start:
        """Return a start with X and Y within a share of their range, about its middle."""
        if share >= 1.0:
            return start
        low, high = start.low.copy(), start.high.copy()
        for joint in (X, Y):
            cut = 0.5 * (1.0 - share) * float(high[joint] - low[joint])
            low[joint], high[joint] = low[joint] + cut, high[joint] - cut
        return Start(low, high, tuple(joint for joint in start.free if joint not in (X, Y)))

    def start_words(self, start: Start) -> str:
        """Return the start as orders, for a person at the machine."""
        letters = self.control_words.letters
        told = ["Raise Z to its top by hand.", "Stop the spindle."]
        anywhere = [letters[k] for k in start.free if k != TILT or self.has_tilt]
        if anywhere:
            told.append(f"{_listed(anywhere)} may stand anywhere.")
        for joint in (X, Y, TILT, TURN):
            if joint in start.free or (joint == TILT and not self.has_tilt):
                continue
            low, high = float(start.low[joint]), float(start.high[joint])
            if low == high:
                told.append(f"Bring {letters[joint]} to {self._position_words(joint, low)}.")
            else:
                least, most = (
                    self._position_words(joint, low, "min"),
                    self._position_words(joint, high, "max"),
                )
                told.append(f"Bring {letters[joint]} into the range {least} to {most}.")
        return " ".join(told)

    def _position_words(
        self, joint: int, value: float, limit: Literal["min", "max"] | None = None
    ) -> str:
        """Return a position as it is read off the control, never outside a limit."""
        if joint in (TILT, TURN):
            tenths = math.degrees(value) * 10.0
            rounded = {"min": math.ceil(tenths - 1e-6), "max": math.floor(tenths + 1e-6)}
            return f"{rounded.get(limit or '', round(tenths)) / 10.0:g} deg"
        return self.units.text(Quantity.LENGTH, value, 2 if self.units.inch else 0, limit=limit)

    @property
    def usual_cautions(self) -> tuple[str, ...]:
        """What applies to every program of ours in this cell."""
        unit, told = self.cell.unit, []
        told.append(
            "At the first run keep the rapid override at its lowest and a hand on feed hold."
        )
        told.append("Nobody reaches into the swing of the unit.")
        if unit.hoses:
            told.append("Watch every hose and cable all through the first run.")
        clamps = (
            *(unit.tilt_brake_torque, unit.rotary_brake_torque),
            *(unit.motion.tilt_clamp, unit.motion.rotary_clamp),
        )
        declared = any(word.brakes is not None for word in self.cell.control.words)
        if any(one is not None for one in clamps) and not declared:
            told.append(
                "This program has no words for the clamps. See in the unit's manual if they "
                "open by themselves."
            )
        told.append("The manuals of mill and unit and the local rules go before this program.")
        return tuple(told)

    def first_blocks(self, start: Start) -> list[Block]:
        """Return how every program of ours begins: settings, Z at the top, a stop to look."""
        words = self.control_words
        return [
            words.settings(),
            *words.spindle_off(),
            words.to_machine({Z: float(start.high[Z])}, "Z to the top"),
            words.stop(
                "Look: the start is as stated, and nothing stands in the swing of the unit",
                "look: start as stated, nothing in the swing",
            ),
        ]

    # --- hands ------------------------------------------------------------------------------------

    @cached_property
    def listed_hands(self) -> tuple[Hand, ...]:
        """Every tool of the list with a known length, the longest first; maybe none."""
        try:
            return tuple(Hand(hand.name, hand.bodies, _LISTED) for hand in self.tools_in_hand)
        except Lacking:
            return ()

    @cached_property
    def empty_hand(self) -> Hand:
        """The empty spindle; raises `Lacking` where nothing of the head is known."""
        bodies = self.tool_bodies(None)
        if not bodies:
            raise Lacking(
                (
                    Missing(
                        "diameter of the spindle's nose",
                        f"{self.cell.file}: machine.nose_diameter",
                        "of the empty spindle nothing is known that could touch",
                        "measure the spindle's nose where it is widest",
                    ),
                )
            )
        return Hand("the empty spindle", bodies, "Leave the spindle empty.")

    # --- offer ------------------------------------------------------------------------------------

    def offered(
        self,
        program: Written,
        blocks: Sequence[Block],
        start: Start,
        *,
        hands: Sequence[Hand] | None = None,
        either: Mapping[int, tuple[float, float]] | None = None,
    ) -> Written:
        """Return a program with its lines if it reads back and is proven, else refused.

        Parameters
        ----------
        program : Written
            Name, title and cautions.
        blocks : sequence of Block
        start : Start
        hands : sequence of Hand, optional
            What may hang in the spindle, any of it; without: every tool of the list, and where one
            would touch, or there is none, the empty spindle alone.
        either : mapping of joint to (low, high), optional
            Where turning axes may stand all the time, instead of where they are sent: nobody knows
            yet which way they go [rad].

        Raises
        ------
        Lacking
            What keeps it from being proven.
        """
        program = replace(program, start=self.start_words(start))
        words = self.control_words
        track = self._read_lines(words.lines(blocks))
        if refused := self._not_as_meant(track, blocks, 0) or self._leaving(track, blocks):
            return replace(program, refused=refused)
        moves = self._boxes_of(track, blocks, start, either or {})
        if refused := self._met_on_the_way(moves, None):
            return replace(program, refused=refused)
        if hands is None:
            hands, program = self._hands_for(moves, program)
        for hand in hands:
            if refused := self._met_on_the_way(moves, hand):
                return replace(program, refused=refused)
        program = replace(
            program,
            start=f"{program.start} {hands[-1].words}",
            proof=self._proof_words([hand.name for hand in hands]),
            remarks=words.remarks,
        )
        heads = [program.title, *(f"Start: {one}" for one in _sentences(program.start))]
        heads += [f"Caution: {one}" for words in program.cautions for one in _sentences(words)]
        head = words.remark_lines(heads)
        lines = (*head, *words.lines(blocks))
        # With its remarks it is another text: it must still say the same.
        if refused := self._not_as_meant(self._read_lines(lines), blocks, len(head)):
            return replace(program, refused=refused)
        return replace(
            program,
            lines=lines,
            start_low=tuple(start.low.tolist()),
            start_high=tuple(start.high.tolist()),
        )

    def _hands_for(
        self, moves: Sequence[tuple[str, Floats, Floats]], program: Written
    ) -> tuple[Sequence[Hand], Written]:
        """Return every tool of the list, or the empty spindle where one would touch."""
        listed = self.listed_hands
        without = tuple(hand.name for hand in listed if self._met_on_the_way(moves, hand))
        if listed and not without:
            return listed, program
        if without:
            program = replace(
                program,
                cautions=(
                    f"Take the tool out first: {_listed(without)} would touch.",
                    *program.cautions,
                ),
                empty_spindle=True,
                without=without,
            )
        return (self.empty_hand,), program

    def cannot_be_proven(self, program: Written, problem: Lacking | NotOfferedError) -> Written:
        """Return a program as refused for what is missing, or for what is met at once."""
        if isinstance(problem, NotOfferedError):
            return replace(program, refused=str(problem))
        first = problem.missing[0]
        return replace(
            program,
            refused=f"it cannot be proven: {first.what} is missing ({first.where})",
            missing=problem.missing,
        )

    def _proof_words(self, names: Sequence[str]) -> str:
        asked = self.units.text(Quantity.LENGTH, max(self.asked_mm, CONTACT_MM))
        nose = "" if self.cell.machine.nose_diameter else " The spindle's nose is not entered."
        return (
            f"Read back word by word. Proven clear by {asked} with {_listed(names)}, from every "
            f"state of the stated start. Only what is entered is proven.{nose}"
        )

    # --- read back --------------------------------------------------------------------------------

    def _read_lines(self, lines: Sequence[tuple[str, str]]) -> Track:
        text = "".join(f"{line}\n" for line, _ in lines).encode("ascii", "replace")
        dialect = replace(self.control_for(text).dialect, start=UNKNOWN, tool_at_start=None)
        return read(text, dialect)

    def _not_as_meant(self, track: Track, blocks: Sequence[Block], head: int) -> str:
        """Return why the text does not say what was meant; empty where it does."""
        worst = track.worst
        if worst is not None and worst.grade is not Grade.NOTE:
            return (
                f"the control's words as declared cannot be read back: "
                f"{worst.code.value.replace('_', ' ')} in line {worst.line}"
            )
        if track.ended is not Ended.BY_WORD:
            return "the control's words as declared do not bring the reader to the end"
        rows: dict[int, list[int]] = {}
        for row, line in enumerate(track.segments["line"].tolist()):
            rows.setdefault(line, []).append(row)
        before = np.asarray(track.start, dtype=np.float64)
        for number, block in enumerate(blocks, start=1):
            mine = rows.pop(head + number, [])
            named = f'block {number} in the words as declared, "{block.text}",'
            kinds = [Kind(int(track.segments["kind"][row])) for row in mine]
            if kinds != _meant_kinds(block):
                return f"{named} reads as something else than was meant"
            for row in mine:
                end = track.segments["end"][row]
                if not self._stands_as_meant(before, end, block.move):
                    return f"{named} reads as another position than was meant"
                force = track.in_force[int(track.segments["force"][row])]
                if force.spindle != 0:
                    return f"{named} reads with the spindle turning"
                flags = Flag(int(track.segments["flags"][row]))
                if block.brakes and flags & _BRAKING != BRAKE_FLAGS[block.brakes]:
                    return f"{named} reads as another clamp than was meant"
                if block.stop and (bool(flags & Flag.END) is not block.ends):
                    return f"{named} reads as another stop than was meant"
                before = end
        if rows:
            return "a remark reads as a block"
        return ""

    def _stands_as_meant(self, before: Floats, end: Floats, move: Mapping[int, float]) -> bool:
        """Tell whether a row ends where it was meant to, all other joints standing still."""
        for joint in range(5):
            if joint not in move:
                same = math.isnan(end[joint]) and math.isnan(before[joint])
                if not (same or abs(end[joint] - before[joint]) <= STILL_TOL[joint]):
                    return False
                continue
            off = abs(float(end[joint]) - move[joint])
            if joint == TURN and self.ranges.endless:
                off = abs(math.remainder(off, FULL_TURN))
            if not off <= READ_TOL[joint]:
                return False
        return True

    def _leaving(self, track: Track, blocks: Sequence[Block]) -> str:
        """Return which move leaves the travel of an axis; empty where none does."""
        low, high = self.joint_limits
        for row in track.segments[np.isin(track.segments["kind"], [int(k) for k in MOVES])]:
            with np.errstate(invalid="ignore"):
                out = (row["end"] > high + LIMIT_SLACK) | (row["end"] < low - LIMIT_SLACK)
            if out.any():
                letter = self.control_words.letters[int(np.argmax(out))]
                words = blocks[int(row["line"]) - 1].words
                return f"{words}: leaves the travel of {letter}"
        return ""

    # --- proof ------------------------------------------------------------------------------------

    def _boxes_of(
        self,
        track: Track,
        blocks: Sequence[Block],
        start: Start,
        either: Mapping[int, tuple[float, float]],
    ) -> list[tuple[str, Floats, Floats]]:
        """Return for each move its words and the box of all positions between its ends."""
        low, high = start.low.copy(), start.high.copy()
        turning = self.control_words.dialect.turning
        found = []
        for row in track.segments:
            block = blocks[int(row["line"]) - 1]
            if block.by_hand_mm:
                # Within the start's range, for a person keeps to that; never less than it was.
                near = low[:Z] - block.by_hand_mm, high[:Z] + block.by_hand_mm
                low[:Z] = np.minimum(low[:Z], np.maximum(near[0], start.low[:Z]))
                high[:Z] = np.maximum(high[:Z], np.minimum(near[1], start.high[:Z]))
            if not block.move:
                continue
            end = np.array(row["end"], dtype=np.float64)
            after_low, after_high = low.copy(), high.copy()
            for joint in block.move:
                after_low[joint] = after_high[joint] = end[joint]
            box_low, box_high = np.minimum(low, after_low), np.maximum(high, after_high)
            for joint, rule in zip((TILT, TURN), turning, strict=True):
                # From where it is not known to stand it may go either way round as well.
                unsure = low[joint] < high[joint] or int(row["flags"]) & int(Flag.EITHER_WAY)
                if joint in block.move and unsure and rule is not TurningRule.AS_WRITTEN:
                    box_low[joint], box_high[joint] = -math.pi, math.pi
            for joint, ends in either.items():
                box_low[joint], box_high[joint] = ends
            found.append((block.words, *self._one_turn(box_low, box_high)))
            low, high = after_low, after_high
        return found

    def _one_turn(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Return a box of no more than one whole turn."""
        if high[TURN] - low[TURN] >= FULL_TURN - 1e-9:
            low[TURN], high[TURN] = 0.0, FULL_TURN
        return low, high

    def _met_on_the_way(
        self, moves: Sequence[tuple[str, Floats, Floats]], hand: Hand | None
    ) -> str:
        """Return what a move may touch; empty where all is proven.

        With a hand what hangs in the spindle is judged, without one everything else.
        """
        prove = self._written_proof(hand)
        for words, low, high in moves:
            gap = prove(low, high)
            if gap.status != 0:
                pair = " and ".join(name for name in gap.pair if name) or "something"
                tie = "; see travels for the tie that settles it" if HANGS in pair else ""
                return f"{words}: not proven clear ({pair}){tie}"
        return ""

    def _written_proof(self, hand: Hand | None) -> Proof:
        """Return the proof that what is entered keeps the clearance asked."""
        from gudgeon.clearance.scene import Carrier

        need, scene = max(self.asked_mm, CONTACT_MM), self.scene.scene
        if hand is None:
            return self.proof(scene, (), need)
        part = between(
            scene,
            lambda body: body.carrier is Carrier.HEAD,
            lambda body: body.carrier is not Carrier.HEAD,
            hand.bodies,
        )
        return self.proof(part, hand.bodies, need)


class NotOfferedError(Exception):
    """Nothing can be offered, whatever is entered besides; the text says why."""


_BRAKING: Final = Flag.CLAMPS_TILT | Flag.CLAMPS_ROTARY | Flag.FREES_TILT | Flag.FREES_ROTARY


def _meant_kinds(block: Block) -> list[Kind]:
    if block.move:
        return [Kind.RAPID]
    if block.stop:
        return [Kind.STOP]
    if block.spindle_off:
        return [Kind.SPINDLE]
    return [Kind.OTHER] if block.brakes else []


def _sentences(words: str) -> list[str]:
    return [f"{one.rstrip('.')}." for one in words.split(". ")]


def _inwards(low: float, high: float, digit: float) -> tuple[float, float]:
    """Return ends rounded to the last digit written, never outwards."""
    return math.ceil(low / digit - 1e-9) * digit, math.floor(high / digit + 1e-9) * digit


def _listed(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]
