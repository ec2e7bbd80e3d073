"""Read an NC program into motion: the flow of its blocks, loops and calls.

Three ways through a text, all with the same result: blocks that the compiled reader understands
fully run there; every other block is taken apart and carried out here; what neither understands
ends the reading with its place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from types import ModuleType
from typing import Final

from gudgeon.program import settings
from gudgeon.program.blocks import Block, Control
from gudgeon.program.carry_out import Jump, carry_out
from gudgeon.program.cutter_rows import OutOfPlace
from gudgeon.program.dialect import UNKNOWN, Dialect, Meaning
from gudgeon.program.doubts import Code, Doubt, Halt
from gudgeon.program.run import Run
from gudgeon.program.sorting import role_of
from gudgeon.program.source import Source
from gudgeon.program.survey import unread
from gudgeon.program.track import Ended, Rows, Track

__all__ = ["read"]

Called = Callable[[int], bytes | None]
Progress = Callable[[float], bool]

QUICK_FROM: Final = 1_000_000
"""Texts of so many bytes are worth the start of the compiled reader (about a second)."""

_NOTHING: Final = frozenset(
    {
        Meaning.CUTTER_OFF,
        Meaning.LENGTH_OFF,
        Meaning.CYCLE_OFF,
        Meaning.RETURN_INITIAL,
        Meaning.TILTED_OFF,
        Meaning.TOOL_POINT_OFF,
        Meaning.SHIFT_ZERO,
        Meaning.SHIFT_OFF,
        Meaning.SPINDLE_OFF,
        Meaning.NO_MOTION,
    }
)
"""Words at the start that leave things as they are before the first block."""

_AT_ONCE: Final = 200_000
"""Blocks between two looks at `progress`."""


def read(
    text: bytes,
    dialect: Dialect,
    *,
    called: Called | None = None,
    progress: Progress | None = None,
    quick: bool | None = None,
) -> Track:
    """Read a program.

    Parameters
    ----------
    text : bytes
        With one or more programs; reading starts at its first block.
    dialect : Dialect
        Words and rules of the control, values of its registers.
    called : callable, optional
        Text of a called program that is not in `text`, by its number; None if there is none.
    progress : callable, optional
        Gets the share of the text that was reached, 0 to 1; returns False to cancel.
    quick : bool, optional
        Whether to use the compiled reader; left out: for long texts.

    Returns
    -------
    Track
        Whatever the text holds: what is in doubt stands in `Track.doubts`.
    """
    if quick is None:
        quick = len(text) >= QUICK_FROM
    return _Reading(text, dialect, called, progress, quick=quick).run_to_end()


@dataclass(slots=True)
class _Frame:
    """A text in hand: where it goes on, and what it was called for."""

    source: Source
    at: int = 0  # index of the next line
    offset: int = 0  # of its first byte: a program without jumps needs no table of its lines
    loops: list[int] = field(default_factory=list)  # lines of the DOs it is inside of
    first: int = 0  # first line of the called program
    repeats: int = 1
    jump: Jump | None = None
    opened: bool = False  # a first percent sign was passed
    begun: bool = False  # a block was passed
    called_from: tuple[int, int] = (0, 0)  # line and source of the call

    def go_to(self, line: int) -> None:
        """Go on with a line, from 0."""
        self.at = line
        self.offset = int(self.source.starts[line]) if line else 0


class _Reading:
    def __init__(
        self,
        text: bytes,
        dialect: Dialect,
        called: Called | None,
        progress: Progress | None,
        *,
        quick: bool,
    ) -> None:
        self.dialect = dialect
        self.called = called
        self.progress = progress
        self.quick = quick
        self.run = Run(dialect)
        self.frames = [_Frame(Source(text, dialect))]
        self.sources: dict[int, Source | None] = {}
        self.calls: list[tuple[int, int, int]] = []
        self.blocks = 0
        self.jumps = 0
        self.next_look = 0
        self.ended: Ended | None = None
        self.fast: ModuleType | None = None

    def run_to_end(self) -> Track:
        run = self.run
        begun = tuple(run.state.position)
        rest: list[Doubt] = []
        try:
            self._at_start()
            while self.ended is None:
                self._step()
        except Halt as halt:
            self._stop(halt)
            rest = unread(self.frames[0].source, self._line_of_main(), self.dialect, halt)
        if run.cutter is not None:
            try:
                self._settle_cutter(at_end=True)
            except Halt as halt:
                self._stop(halt)
        # The run refers to itself through its variables: it must not hold the rows until collected.
        rows, run.rows = run.rows, Rows(0)
        return Track(
            segments=rows.segments[: rows.count],
            arcs=rows.arcs[: rows.arc_count],
            in_force=run.in_force,
            start=begun,
            doubts=run.doubts,
            ended=Ended.TEXT_OUT if self.ended is None else self.ended,
            last_line=run.line,
            blocks=self.blocks,
            unread=rest,
            calls=self.calls,
        )

    def _stop(self, halt: Halt) -> None:
        run = self.run
        self.ended = Ended.STOPPED
        run.line = max(run.line, 1)
        run.doubts.append(Doubt(halt.code, run.line, halt.column, halt.detail, run.source))

    def _line_of_main(self) -> int:
        return self.run.line if len(self.frames) == 1 else self.frames[0].at

    def _at_start(self) -> None:
        """Put the words in force that the cell says are so before the first block."""
        run = self.run
        for letter, tenths in self.dialect.at_start:
            role = role_of(self.dialect, letter, tenths / 10.0, 0)
            _start_with(run, role.meaning, role.index)

    # --- one block --------------------------------------------------------------------------

    def _step(self) -> None:
        frame, run = self.frames[-1], self.run
        if self.blocks >= self.next_look:
            self._look(frame)
            if self.ended is not None:
                return
        if self.quick and frame.begun and run.cutter is None:
            self._run_quickly(frame)
        if frame.offset >= len(frame.source.text):
            raise Halt(Code.NO_END)
        index = frame.at
        run.line = index + 1
        run.source = frame.source.number
        run.column = 0
        block, past = frame.source.block(frame.offset)
        self.blocks += 1
        if self.blocks > self.dialect.limits.blocks:
            raise Halt(Code.ENDLESS, limit=self.dialect.limits.blocks)
        frame.at, frame.offset = index + 1, past
        self._block(frame, block, index)

    def _settle_cutter(self, *, at_end: bool = False) -> None:
        """Give a stretch under cutter radius its true path once its end is known."""
        run = self.run
        assert run.cutter is not None
        try:
            if run.cutter.settle(run.rows, at_end=at_end):
                run.cutter = None
        except OutOfPlace as wrong:
            run.cutter = None
            run.line, run.source = wrong.line, wrong.source
            raise Halt(wrong.halt.code, wrong.column, **dict(wrong.halt.detail)) from None

    def _look(self, frame: _Frame) -> None:
        self.next_look = self.blocks + _AT_ONCE
        if self.progress is not None:
            main = self.frames[0]
            share = min(1.0, main.offset / max(1, len(main.source.text)))
            if not self.progress(share):
                self.ended = Ended.CANCELLED

    def _run_quickly(self, frame: _Frame) -> None:
        if self.fast is None:
            from gudgeon.program import fast  # starts the compiler: only for long texts

            self.fast = fast
        run, source = self.run, frame.source
        if frame.offset >= len(source.text) or not self.fast.may_run(run.state, self.dialect):
            return
        run.force_index()
        offset, line, done = self.fast.run_plain(
            source.codes,
            frame.offset,
            frame.at + 1,
            run.state,
            self.dialect,
            run.rows,
            blocks_limit=min(_AT_ONCE, self.dialect.limits.blocks - self.blocks),
            rows_limit=self.dialect.limits.rows,
            source=source.number,
        )
        if done:
            frame.at, frame.offset = line - 1, offset
            run.line = line - 1
            self.blocks += done

    def _block(self, frame: _Frame, block: Block, index: int) -> None:
        if block.percent:
            self._percent(frame)
            return
        if block.skip is not None:
            if self.dialect.block_skip is None:
                raise Halt(Code.SKIP_SWITCH, block.skip_column)
            if self.dialect.block_skip:
                return
        words = block.words
        if words and words[0].letter == "O":
            if frame.begun and index != frame.first:
                raise Halt(Code.NO_END)
            if len(words) == 1 and block.control is None and not block.assignments:
                return
        if words or block.control is not None or block.assignments:
            frame.begun = True
        if block.control is not None:
            if words:
                raise Halt(Code.WORD_UNUSED, words[0].column, word=words[0].letter)
            self._control(frame, block, index)
        elif block.assignments and words:
            self._mixed(block)
        elif block.assignments:
            self._assign(block)
        elif words:
            self._follow(frame, carry_out(self.run, block))
            if self.run.cutter is not None:
                self._settle_cutter()

    def _percent(self, frame: _Frame) -> None:
        """Open or close the program; only a pair of signs ends it (NISTIR 6556, 3.1)."""
        if not frame.opened and not frame.begun:
            frame.opened = True
        elif frame.opened and frame.jump is None:
            self.ended = Ended.AT_PERCENT
        elif frame.jump is not None or self._nothing_after(frame):
            raise Halt(Code.NO_END)
        else:
            raise Halt(Code.BEFORE_START, found="%")

    def _nothing_after(self, frame: _Frame) -> bool:
        source = frame.source
        return not source.text[frame.offset :].strip()

    # --- assignments ------------------------------------------------------------------------

    def _mixed(self, block: Block) -> None:
        """Carry out a block with words and assignments; the values count from the next block."""
        if self.dialect.assignment_in_motion is not True:
            raise Halt(Code.ASSIGNMENT_IN_MOTION, block.assignments[0].column)
        values = self._worked_out(block)
        jump = carry_out(self.run, block)
        self._store(values)
        self._follow(self.frames[-1], jump)

    def _assign(self, block: Block) -> None:
        if len(block.assignments) > 1 and self.dialect.assignment_in_motion is not True:
            # One after the other, or all with the values before: controls differ.
            raise Halt(Code.ASSIGNMENT_IN_MOTION, block.assignments[1].column)
        self._store(self._worked_out(block))

    def _worked_out(self, block: Block) -> list[tuple[float | None, float | None, int, int]]:
        variables = self.run.variables
        worked = []
        for one in block.assignments:
            target = one.target.value(variables)
            variables.cause = -1
            value = one.value.value(variables)
            cause = variables.cause if value is not None and value != value else -1
            worked.append((target, value, one.column, cause))
        return worked

    def _store(self, worked: list[tuple[float | None, float | None, int, int]]) -> None:
        for target, value, column, cause in worked:
            self.run.variables.assign(target, value, column, cause)

    # --- flow -------------------------------------------------------------------------------

    def _truth(self, control: Control) -> bool:
        assert control.condition is not None
        self.run.variables.cause = -1
        value = control.condition.value(self.run.variables)
        if value is None:
            return False
        if value != value:
            raise Halt(Code.UNKNOWN_BRANCH, control.column, word=control.kind)
        return value != 0.0

    def _control(self, frame: _Frame, block: Block, index: int) -> None:
        control = block.control
        assert control is not None
        kind = control.kind
        if kind == "goto" or (kind == "if goto" and self._truth(control)):
            self._goto(frame, control, index)
        elif kind == "if then":
            if self._truth(control):
                self._assign(block)
        elif kind in ("while", "do"):
            self._loop(frame, control, index)
        elif kind == "end":
            self._loop_end(frame, control, index)

    def _loop(self, frame: _Frame, control: Control, index: int) -> None:
        end = frame.source.end_of_loop(index)
        if end is None:
            raise Halt(Code.LOOP_SHAPE, control.column, number=control.loop)
        inside = index in frame.loops
        if control.kind == "do" or self._truth(control):
            if not inside:
                self._enter(frame, control, index)
            return
        if inside:
            frame.loops.remove(index)
        frame.go_to(end + 1)

    def _enter(self, frame: _Frame, control: Control, index: int) -> None:
        if len(frame.loops) >= self.dialect.limits.depth:
            raise Halt(Code.TOO_DEEP, control.column, limit=self.dialect.limits.depth)
        for around in frame.loops:
            outer = frame.source.block(int(frame.source.starts[around]))[0].control
            if outer is not None and outer.loop == control.loop:
                raise Halt(Code.LOOP_SHAPE, control.column, number=control.loop)
        frame.loops.append(index)

    def _loop_end(self, frame: _Frame, control: Control, index: int) -> None:
        if not frame.loops or frame.source.end_of_loop(frame.loops[-1]) != index:
            raise Halt(Code.LOOP_SHAPE, control.column, number=control.loop)
        self._count_jump()
        frame.go_to(frame.loops[-1])

    def _goto(self, frame: _Frame, control: Control, index: int) -> None:
        assert control.target is not None
        value = control.target.value(self.run.variables)
        if value is None or value != value:
            raise Halt(Code.UNKNOWN_BRANCH, control.column, word="GOTO")
        if value != int(value) or value < 0:
            raise Halt(Code.NOT_WHOLE, control.column, word=f"GOTO {value:.15g}")
        self._go_to(frame, frame.source.label(int(value), index, control.column), control)

    def _count_jump(self) -> None:
        # An endless loop ends by its jumps, long before its blocks are too many.
        self.jumps += 1
        if self.jumps > self.dialect.limits.jumps:
            raise Halt(Code.ENDLESS, limit=self.dialect.limits.jumps)

    def _go_to(self, frame: _Frame, line: int, control: Control) -> None:
        around = frame.source.loop_around(line)
        while around is not None:
            if around not in frame.loops:
                raise Halt(Code.LOOP_SHAPE, control.column, number=control.loop)
            around = frame.source.loop_around(around)
        end_of = frame.source.end_of_loop
        frame.loops = [one for one in frame.loops if one <= line <= (end_of(one) or -1)]
        self._count_jump()
        frame.go_to(line)

    def _follow(self, frame: _Frame, jump: Jump | None) -> None:
        if jump is None:
            return
        if jump.kind == "end":
            self.ended = Ended.BY_WORD
        elif jump.kind == "return":
            self._return(frame, jump)
        else:
            self._call(frame, jump)

    def _call(self, frame: _Frame, jump: Jump) -> None:
        if jump.repeats == 0:
            raise Halt(Code.CALL_FORM, jump.column, word="L0")
        if jump.repeats > self.dialect.limits.blocks:
            raise Halt(Code.ENDLESS, jump.column, limit=self.dialect.limits.blocks)
        if len(self.frames) > self.dialect.limits.depth:
            raise Halt(Code.TOO_DEEP, jump.column, limit=self.dialect.limits.depth)
        assert jump.number is not None
        source, line = self._find(frame, jump.number, jump.column)
        if jump.kind == "macro":
            self.run.variables.push(jump.arguments, jump.causes)
        called = _Frame(source, first=line, repeats=jump.repeats, jump=jump, begun=True)
        called.called_from = self.run.line, frame.source.number
        self._count_jump()
        called.go_to(line)
        self.frames.append(called)
        self._note_call()

    def _note_call(self) -> None:
        self.calls.append((self.run.rows.count, *self.frames[-1].called_from))

    def _find(self, frame: _Frame, number: int, column: int) -> tuple[Source, int]:
        for source in (frame.source, self.frames[0].source):
            lines = source.program(number)
            if len(lines) > 1:
                raise Halt(Code.LABEL_TWICE, column, number=number)
            if lines:
                return source, lines[0]
        if number not in self.sources:
            text = self.called(number) if self.called is not None else None
            self.sources[number] = None if text is None else Source(text, self.dialect, number)
        found = self.sources[number]
        if found is None:
            raise Halt(Code.PROGRAM_MISSING, column, number=number)
        lines = found.program(number)
        return found, lines[0] if lines else _first_block(found)

    def _return(self, frame: _Frame, jump: Jump) -> None:
        if frame.jump is None:
            if jump.number is not None:
                line = frame.source.label(jump.number, frame.at - 1, jump.column)
                self._go_to(frame, line, Control("goto", jump.column))
                return
            self.ended = Ended.REPEATS
            return
        if frame.repeats > 1 and jump.number is None:
            frame.repeats -= 1
            self._count_jump()
            frame.go_to(frame.first)
            frame.loops.clear()
            if frame.jump.kind == "macro":
                self.run.variables.pop()
                self.run.variables.push(frame.jump.arguments, frame.jump.causes)
            return
        self.frames.pop()
        self._note_call()
        if frame.jump.kind == "macro":
            self.run.variables.pop()
        back = self.frames[-1]
        if jump.number is not None:
            line = back.source.label(jump.number, back.at - 1, jump.column)
            self._go_to(back, line, Control("goto", jump.column))


def _first_block(source: Source) -> int:
    # Past the percent sign with which a file begins.
    for index in range(min(source.count, 100)):
        if source.line(index).strip() not in (b"", b"%"):
            return index
    return 0


def _start_with(run: Run, meaning: Meaning, index: int) -> None:
    match meaning:
        case Meaning.OFFSET if 1 <= index <= len(run.dialect.offset_names):
            name = run.dialect.offset_names[index - 1]
            run.state.change(offset=name, offset_values=run.offsets.get(name, UNKNOWN))
        case Meaning.RAPID | Meaning.LINE:
            run.state.motion = meaning
        case Meaning.RETURN_R:
            run.to_first_level = False
        case _ if settings.is_mode(meaning):
            settings.set_mode(run, meaning, 0)
        case _ if meaning not in _NOTHING:
            raise Halt(Code.NOT_DECLARED, what=meaning.value)
