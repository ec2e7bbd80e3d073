"""A program as it is offered or refused, and the control's words in which one is written.

Every program of this package is built here as a list of blocks, each with what it is meant to do;
what the text then says is read back and compared elsewhere.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from gudgeon.answer import Missing
from gudgeon.cell.model_control import Control
from gudgeon.findings.control import word_text
from gudgeon.program.dialect import Dialect, Meaning

__all__ = ["TILT", "TURN", "Block", "ControlWords", "Written", "X", "Y", "Z"]

X, Y, Z, TILT, TURN = range(5)
"""The joints in the order of every joint position."""

MM_PER_INCH: Final = 25.4  # exact: NIST SP 811 (2008), appendix B

REMARK_MOST: Final = 56
"""Letters of a line that is a comment alone: small controls show no more (from memory)."""

_JOINT_NAMES: Final = {TILT: "tilt", TURN: "rotary"}


@dataclass(frozen=True, slots=True)
class Written:
    """A program, or why there is none.

    Attributes
    ----------
    name : str
        Stable name, such as ``"warm-up"``.
    title : str
    lines : tuple of (str, str)
        Text of each block, and what it does; empty where it is refused.
    start : str
        The safe state in which it must be started.
    cautions : tuple of str
    refused : str
        Why none is offered; empty where one is.
    proof : str
        What was proven, with which tools and clearance.
    missing : tuple of Missing
        What would settle a refusal, the most telling first.
    empty_spindle : bool
        It is proven for the empty spindle only.
    without : tuple of str
        Tools with which it would not be safe.
    by_hand : tuple of (str, str)
        What to do, and what must be seen, where no program is offered and hands can do it.
    remarks : tuple of str
        How the control writes a comment: what stands before it and behind; empty: it has none.
    start_low, start_high : tuple of 5 floats
        Where each joint may stand at the start [mm, rad]; empty where it is refused.
    """

    name: str
    title: str
    lines: tuple[tuple[str, str], ...] = ()
    start: str = ""
    cautions: tuple[str, ...] = ()
    refused: str = ""
    proof: str = ""
    missing: tuple[Missing, ...] = ()
    empty_spindle: bool = False
    without: tuple[str, ...] = ()
    by_hand: tuple[tuple[str, str], ...] = ()
    remarks: tuple[str, ...] = ()
    start_low: tuple[float, ...] = ()
    start_high: tuple[float, ...] = ()

    @property
    def text(self) -> str:
        """The program as it is written to a file."""
        return "".join(f"{line}\n" for line, _ in self.lines)

    def text_under(self, *heads: str) -> str:
        """Return the program under lines of comment, where the control has comments."""
        above = (row for head in heads for row in remark_rows(head, self.remarks))
        return "".join(f"{row}\n" for row in above) + self.text


@dataclass(frozen=True, slots=True)
class Block:
    """One block, and what it is meant to do.

    Attributes
    ----------
    text : str
        As written, without its comment.
    words : str
        What it does, for people.
    remark : str
        Its comment; `words` where left out.
    move : mapping of joint to position
        Where it goes in a rapid, machine coordinates [mm, rad]; the other joints stand still.
    stop : bool
        The program waits.
    by_hand_mm : float
        While it waits X and Y are moved by hand, no farther than this, and Z as far as wanted; Z is
        at the top again before it goes on.
    brakes : str
        What it does to the clamps, as the cell file has it; empty: nothing.
    ends, spindle_off : bool
    """

    text: str
    words: str
    remark: str = ""
    move: Mapping[int, float] = field(default_factory=dict)
    stop: bool = False
    by_hand_mm: float = 0.0
    brakes: str = ""
    ends: bool = False
    spindle_off: bool = False


def plain_remark(words: str) -> str:
    """Return words without what ends a comment, or is no plain letter."""
    return "".join(c for c in words if c.isascii() and c.isprintable() and c not in "();%")


def remark_rows(words: str, remarks: Sequence[str]) -> list[str]:
    """Return words as lines of comment; none where the control has no comments."""
    if not remarks:
        return []
    before, behind = remarks
    upper = plain_remark(words).upper() if behind else plain_remark(words)
    return [f"{before}{row}{behind}" for row in textwrap.wrap(upper, REMARK_MOST)]


class ControlWords:
    """The words that a cell declares for its control, for writing blocks.

    Parameters
    ----------
    control : Control
    dialect : Dialect
        For the words of meanings that have no entry of their own.
    letters : tuple of str
        Of the tilt and the rotary axis; empty where there is none.
    inch : bool
    """

    def __init__(
        self, control: Control, dialect: Dialect, letters: tuple[str, str], *, inch: bool
    ) -> None:
        self.control, self.dialect, self.inch = control, dialect, inch
        self.letters = ("X", "Y", "Z", *letters)

    @property
    def remarks(self) -> tuple[str, ...]:
        """How a comment begins and ends; empty where the control has none."""
        styles = {";": ("; ", ""), "( )": ("(", ")")}
        return styles.get(self.control.comment or "", ())

    @property
    def digit_mm(self) -> float:
        """The last digit of a length that is written [mm]."""
        return MM_PER_INCH * 1e-4 if self.inch else 1e-3

    @property
    def digit_rad(self) -> float:
        """The last digit of an angle that is written [rad]."""
        return math.radians(1e-3)

    def number(self, joint: int, value: float) -> str:
        """Return a number with a decimal point and no idle zeros: "-685.", "12.7"."""
        if joint in _JOINT_NAMES:
            text = f"{math.degrees(value):.3f}"
        else:
            text = f"{value / MM_PER_INCH:.4f}" if self.inch else f"{value:.3f}"
        text = text.rstrip("0")
        return "0." if text in ("-0.", "0.") else text

    def as_written(self, joint: int, value: float) -> float:
        """Return the value that the text of a number has."""
        digit = self.digit_rad if joint in _JOINT_NAMES else self.digit_mm
        return round(value / digit) * digit

    def word_of(self, meaning: Meaning) -> str | None:
        """Return the control's word for a meaning: that with the lowest number."""
        keys = sorted(key for key, role in self.dialect.words.items() if role.meaning is meaning)
        return word_text(keys[0]) if keys else None

    def clamp_words(self, joints: Sequence[int], verb: str) -> list[tuple[str, str]]:
        """Return the words that free or clamp axes, each with what it does; none if none declared.

        Parameters
        ----------
        joints : sequence of int
        verb : "frees" or "clamps"
        """
        known = {
            word.brakes: word.word
            for word in self.control.words
            if word.brakes is not None and word.word is not None
        }
        single = [(known.get(key), key) for key in (f"{verb} {_JOINT_NAMES[k]}" for k in joints)]
        both = known.get(f"{verb} both")
        if both is not None and (len(joints) > 1 or any(word is None for word, _ in single)):
            return [(both, f"{verb} both")]
        return [(word, key) for word, key in single if word is not None]

    # --- blocks -----------------------------------------------------------------------------------

    def settings(self) -> Block:
        """Return the block that sets units and absolute positions."""
        control = self.control
        unit = (control.inch_word or "G20") if self.inch else (control.metric_word or "G21")
        return Block(f"{unit} {control.absolute_word or 'G90'}", "units, absolute positions")

    def spindle_off(self) -> list[Block]:
        """Return the block that stops the spindle; none where the control has no word for it."""
        word = self.word_of(Meaning.SPINDLE_OFF)
        return [] if word is None else [Block(word, "spindle off", spindle_off=True)]

    def to_machine(self, move: Mapping[int, float], words: str) -> Block:
        """Return a rapid to machine coordinates."""
        control = self.control
        at = {joint: self.as_written(joint, value) for joint, value in move.items()}
        numbers = " ".join(self.letters[k] + self.number(k, value) for k, value in at.items())
        return Block(
            f"{control.machine_word or 'G53'} {control.rapid_word or 'G0'} {numbers}",
            words,
            move=at,
        )

    def index(self, move: Mapping[int, float], words: str) -> list[Block]:
        """Return an index: let go, turn, clamp."""
        joints = list(move)
        return [
            *(
                Block(word, "let go", brakes=does)
                for word, does in self.clamp_words(joints, "frees")
            ),
            self.to_machine(move, words),
            *(
                Block(word, "clamp", brakes=does)
                for word, does in self.clamp_words(joints, "clamps")
            ),
        ]

    def stop(self, words: str, remark: str = "", *, by_hand_mm: float = 0.0) -> Block:
        """Return a block that waits for a person."""
        word = self.control.stop_word or "M0"
        return Block(word, words, remark, stop=True, by_hand_mm=by_hand_mm)

    def end(self) -> Block:
        """Return the last block."""
        return Block(self.control.end_word or "M30", "end", stop=True, ends=True)

    # --- text -------------------------------------------------------------------------------------

    def commented(self, text: str, words: str) -> str:
        """Return a block with its comment, where the control has comments."""
        if not self.remarks or not words:
            return text
        before, behind = self.remarks
        plain = plain_remark(words)
        return f"{text} {before}{plain.upper() if behind else plain}{behind}"

    def lines(self, blocks: Sequence[Block]) -> tuple[tuple[str, str], ...]:
        """Return the text of blocks, each with what it does."""
        return tuple(
            (self.commented(one.text, one.remark or one.words), one.words) for one in blocks
        )

    def remark_lines(self, sentences: Sequence[str]) -> tuple[tuple[str, str], ...]:
        """Return sentences as lines of comment; none where the control has no comments."""
        return tuple((row, "") for words in sentences for row in remark_rows(words, self.remarks))
