"""The command ``gudgeon``: ask, read, check, start, template, report, print, order, day, show, ...

Exit code: 0 yes or yes-if, 1 no, 3 cannot tell, 2 bad input or a fault; of several answers 2 goes
before 1, 1 before 3, 3 before 0.  Heavy parts are imported by the command that needs them.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import os
import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

from gudgeon import __version__

if TYPE_CHECKING:
    from gudgeon.answer import Answer
    from gudgeon.cell.model import Cell
    from gudgeon.findings.programs import ProgramText
    from gudgeon.questions import Question

__all__ = ["main"]

OK: Final = 0
BAD_INPUT: Final = 2
NOT_YET: Final = 3
NOT_OFFERED: Final = 1
INTERRUPTED: Final = 130  # 128 + SIGINT, as shells report it
ANSWERS_SCHEMA: Final = "gudgeon.answers/1"
FAULTS_SCHEMA: Final = "gudgeon.faults/1"
REPORT: Final = "gudgeon-report.html"
NO_TABLE: Final = frozenset({"K001", "K002"})  # the table of readings is not there, or empty
TRACE: Final = "GUDGEON_TRACE"
MOST_MINUTES: Final = 1440.0


class _Parser(argparse.ArgumentParser):
    """A parser whose faults read like all others: what is wrong, and what to write."""

    def error(self, message: str) -> NoReturn:
        words = message
        wrong = re.search(r"invalid choice: '([^']*)' \(choose from (.*)\)", message)
        if wrong:
            known = re.findall(r"'([^']*)'", wrong[2])
            near = difflib.get_close_matches(wrong[1].lower(), known, n=1, cutoff=0.5)
            words = f'"{wrong[1]}" is not known here; write one of: {", ".join(known)}'
            if wrong[1].lower().endswith(".toml"):
                words = f"say what to do with the cell file; write: gudgeon ask {wrong[1]}"
            elif near:
                words = f'"{wrong[1]}" is not known here; do you mean "{near[0]}"?'
        elif message.startswith("the following arguments are required: "):
            usage = self.format_usage().removeprefix("usage: ").replace("[-h] ", "")
            words = f"something is missing; write: {usage.strip()}"
        elif message.startswith("unrecognized arguments: "):
            words = f"{message.partition(': ')[2]} is not known; see  gudgeon --help"
        _say(f"gudgeon: {words}")
        raise SystemExit(BAD_INPUT)


class _Stop(Exception):  # noqa: N818 - the command ends here with a plain line
    """Bad input on the command line; the text says what to do."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code.

    Parameters
    ----------
    argv : sequence of str, optional
        Words after ``gudgeon``; those of the process if left out.
    """
    try:
        options = _parser().parse_args(argv)
    except SystemExit as stop:  # argparse has printed why
        return stop.code if isinstance(stop.code, int) else BAD_INPUT
    try:
        code: int = options.run(options)
        sys.stdout.flush()
    except _Stop as stop:
        _say(f"gudgeon: {stop}")
        return BAD_INPUT
    except BrokenPipeError:  # the reader (such as "head") has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except KeyboardInterrupt:
        _say("gudgeon: stopped")
        return INTERRUPTED
    except Exception as problem:  # a fault of ours: one plain line, not a page of code
        _own_fault("the command was not carried out", problem)
        return BAD_INPUT
    return code


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="gudgeon",
        description="Plain answers about a tilting rotary unit on a 3-axis vertical mill.",
        epilog="exit code: 0 yes or yes-if, 1 no, 3 cannot tell yet, 2 bad input",
    )
    parser.add_argument("--version", action="version", version=f"gudgeon {__version__}")
    parser.set_defaults(run=lambda _: _print_help(parser))
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    words = "questions by name (none: all), NC programs, and last the cell file"
    ask = commands.add_parser(
        "ask",
        help="answer questions about a cell file",
        usage="gudgeon ask [QUESTION ...] [PROGRAM ...] CELL [--full] [--json] [--fresh]",
    )
    ask.add_argument("words", nargs="+", metavar="WORD", help=words)
    ask.add_argument(
        "--full", action="store_true", help="print every table too where no question is named"
    )
    ask.add_argument("--json", action="store_true", help="print data instead of text")
    ask.add_argument("--fresh", action="store_true", help="prove anew what was proven before")
    ask.set_defaults(run=_ask)

    read = commands.add_parser(
        "read",
        help="read an NC program as the control of a cell reads it",
        usage="gudgeon read PROGRAM CELL [--json] [--to FILE]",
    )
    read.add_argument("files", nargs=2, metavar="FILE", help="the program, and last the cell file")
    read.add_argument("--json", action="store_true", help="print data instead of text")
    read.add_argument("--to", metavar="FILE", help="write one HTML file with drawings instead")
    read.set_defaults(run=_read)

    check = commands.add_parser("check", help="look for faults in a cell file")
    check.add_argument("cell", metavar="CELL", help="the cell file")
    check.set_defaults(run=_check)

    start = commands.add_parser("start", help="write a first cell file from a few questions")
    start.add_argument(
        "file", nargs="?", default="cell.toml", metavar="FILE", help="where to (cell.toml)"
    )
    start.set_defaults(run=_start)

    template = commands.add_parser(
        "template",
        help="write a table of the readings to take, to be filled in",
        usage="gudgeon template CELL [--to FILE]",
    )
    template.add_argument("cell", metavar="CELL", help="the cell file")
    template.add_argument(
        "--to",
        metavar="FILE",
        help="where to: .csv to type into, .html to print (shown if left out)",
    )
    template.set_defaults(run=_template)

    report = commands.add_parser(
        "report",
        help="write answers with drawings to one HTML file",
        usage="gudgeon report [QUESTION ...] [PROGRAM ...] CELL [--to FILE] [--fresh]",
    )
    report.add_argument("words", nargs="+", metavar="WORD", help=words)
    report.add_argument("--to", default=REPORT, metavar="FILE", help=f"where to ({REPORT})")
    report.add_argument("--fresh", action="store_true", help="prove anew what was proven before")
    report.set_defaults(run=_report)

    printed = commands.add_parser(
        "print",
        help="print sheets for the machine: answers, plan, cards and lists",
        usage="gudgeon print CELL [SHEET ...] [--to FILE.pdf|FILE.html] [--paper a4|letter] "
        "[--date YYYY-MM-DD]",
    )
    printed.add_argument(
        "words",
        nargs="+",
        metavar="WORD",
        help="the cell file, and sheets or questions by name (none: all sheets)",
    )
    printed.add_argument("--to", metavar="FILE", help="where to (CELL-paper.pdf beside the cell)")
    printed.add_argument(
        "--paper",
        choices=("a4", "letter"),
        help="size of the paper (letter where lengths are in inches, else a4)",
    )
    printed.add_argument("--date", metavar="DATE", help="day on the sheets (today)")
    printed.set_defaults(run=_print)

    order = commands.add_parser(
        "order",
        help="seek the order of a load for longer, and write a program that calls it",
        usage="gudgeon order CELL [--minutes N] [--to FILE] [--json]",
    )
    order.add_argument("cell", metavar="CELL", help="the cell file")
    order.add_argument("--minutes", type=float, metavar="N", help="how long to seek")
    order.add_argument("--to", metavar="FILE", help="write the program of calls to this file")
    order.add_argument("--json", action="store_true", help="print data instead of text")
    order.set_defaults(run=_order)

    write = commands.add_parser(
        "write",
        help="write a proven program: jog-test, warm-up or check-path",
        usage="gudgeon write PROGRAM CELL [--to FILE] [--date YYYY-MM-DD]",
    )
    write.add_argument(
        "program",
        choices=("jog-test", "warm-up", "check-path"),
        metavar="PROGRAM",
        help="jog-test, warm-up or check-path",
    )
    write.add_argument("cell", metavar="CELL", help="the cell file")
    write.add_argument("--to", metavar="FILE", help="where to (shown if left out)")
    write.add_argument("--date", metavar="DATE", help="day in its first lines (today)")
    write.set_defaults(run=_write)

    day = commands.add_parser(
        "day",
        help="keep the morning's check of a cell, to see whether anything has moved",
        usage="gudgeon day CELL [FILE.csv | name=... x=... y=... z=... t=...] [--correct ROW] "
        "[--list]",
    )
    day.add_argument("cell", metavar="CELL", help="the cell file")
    day.add_argument(
        "words", nargs="*", metavar="WORD", help="a table of days, or one check as x=... t=..."
    )
    day.add_argument("--correct", type=int, metavar="ROW", help="put it in the place of this row")
    day.add_argument("--list", action="store_true", help="list what is kept")
    day.set_defaults(run=_day)

    show = commands.add_parser(
        "show",
        help="show the whole cell in the browser: ask, look, enter",
        usage="gudgeon show CELL [--port N] [--lan] [--read-only] [--no-open]",
    )
    show.add_argument("cell", metavar="CELL", help="the cell file")
    show.add_argument("--port", type=int, metavar="N", help="where to listen (8470 or the next)")
    show.add_argument(
        "--lan",
        action="store_true",
        help="let paired devices of the shop's network in, unencrypted",
    )
    show.add_argument("--read-only", action="store_true", help="nothing can be changed")
    show.add_argument("--no-open", action="store_true", help="do not open the browser")
    show.set_defaults(run=_show)

    schema = commands.add_parser("schema", help="print a published JSON Schema")
    schema.add_argument(
        "what",
        choices=("cell", "answer", "page"),
        help="of the cell file, of an answer, or (OpenAPI) of all that the page asks for",
    )
    schema.set_defaults(run=_schema)

    questions = commands.add_parser("questions", help="list the questions, or explain one")
    questions.add_argument("question", nargs="?", metavar="QUESTION", help="the one to explain")
    questions.set_defaults(run=_questions)
    return parser


def _print_help(parser: argparse.ArgumentParser) -> int:
    parser.print_help()
    return OK


# --- commands ---------------------------------------------------------------------------------


def _ask(options: argparse.Namespace) -> int:
    from gudgeon.faces.plain import answer_text, in_short
    from gudgeon.faces.wording import exit_code

    asked, named, files, path = _sort_words(options.words)
    cell, faults = _load(path, as_json=options.json)
    if cell is None:
        return BAD_INPUT
    programs, asked = _programs(files, cell, path, asked, named, fresh=options.fresh)
    answers, failed = _answer_all(asked, cell, programs)
    if options.json:
        if named == 1 and answers:
            data = answers[0].as_data()
        else:
            data = {
                "schema": ANSWERS_SCHEMA,
                "cell": str(path),
                "answers": [answer.as_data() for answer in answers],
                "failed": failed,
                "warnings": faults,
            }
        _print_json(data)
    else:
        for answer in answers:
            brief = not named and not options.full
            print(answer_text(answer, asked[answer.question].ASKS, brief=brief))
        if len(answers) + len(failed) > 1:
            print(in_short(answers, failed), end="")
    return exit_code(answers, failed=bool(failed))


def _check(options: argparse.Namespace) -> int:
    path = Path(options.cell)
    cell, faults = _load(path)
    if cell is None:
        return BAD_INPUT
    from gudgeon.faces.wording import ascii_text

    count = len(faults)
    more = "no faults" if not count else f"{count} warning{'s' * (count != 1)}, shown above"
    print(f"{ascii_text(path)}: {more}; ready to ask")
    return OK


def _start(options: argparse.Namespace) -> int:
    path = Path(options.file)
    if path.exists():
        raise _Stop(f"{_shown(path)} exists already and is left alone; give another name")
    if not path.parent.is_dir():
        raise _Stop(f"there is no folder {_shown(path.parent)}; make it first")
    from gudgeon.cell.files import write_text_safely
    from gudgeon.cell.starter import start

    try:
        text = start(_prompt)
    except EOFError:
        raise _Stop("the questions ended early; nothing was written") from None
    try:
        write_text_safely(path, text)
    except OSError as problem:
        raise _Stop(f"cannot write {_shown(path)}: {problem.strerror or problem}") from None
    print(f"\nwritten: {_shown(path)}\nnow      gudgeon ask {_shown(path)}")
    return OK


def _template(options: argparse.Namespace) -> int:
    from gudgeon.cell.blank_table import blank_cells, blank_table
    from gudgeon.cell.faults import as_text
    from gudgeon.cell.files import load, write_text_safely
    from gudgeon.faces.blank import blank_page
    from gudgeon.faces.report import MARK
    from gudgeon.findings import Findings, Lacking
    from gudgeon.findings.rows_to_read import rows_to_read, steps_to_take

    path = Path(options.cell)
    loaded = load(path)
    if loaded.cell is None and {f.code for f in loaded.faults if f.level == "error"} <= NO_TABLE:
        loaded = load(path, readings=False)  # the table that is named is the one to be made
    if loaded.faults:
        print(as_text(loaded.faults), end="", file=sys.stderr)
    if loaded.cell is None:
        return BAD_INPUT
    findings = Findings(loaded.cell)
    try:
        rows, steps = rows_to_read(findings), steps_to_take(findings)
    except Lacking as lacking:
        first = lacking.missing[0]
        _say(f"cannot tell yet what to read without the {first.what}: {first.how_to_get_it}")
        return NOT_YET
    if not rows:
        print("nothing to read: no further reading would help by more than it takes")
        return OK
    if options.to is None:
        print(blank_table(rows, loaded.cell), end="")
        return OK
    target = Path(options.to)
    page = target.suffix.lower() in (".html", ".htm")
    if page:
        _may_write(target, path, MARK)
        head, cells = blank_cells(rows, loaded.cell)
        text = blank_page(loaded.cell.shop.name or path.name, head, cells, steps)
    else:
        if target.exists():
            raise _Stop(f"{_shown(target)} exists already and is left alone; give another name")
        if not target.parent.is_dir():
            raise _Stop(f"there is no folder {_shown(target.parent)}; make it first")
        text = blank_table(rows, loaded.cell)
    try:
        write_text_safely(target, text, overwrite=page)
    except OSError as problem:
        raise _Stop(f"cannot write {_shown(target)}: {problem.strerror or problem}") from None
    print(f"written: {_shown(target)}, {len(rows)} readings to take")
    if not page:
        print(f'now      fill it in, and name it in the cell file: file = "{_shown(target.name)}"')
    return OK


def _report(options: argparse.Namespace) -> int:
    from gudgeon.faces.report import MARK

    asked, named, files, path = _sort_words(options.words)
    target = Path(options.to)
    _may_write(target, path, MARK)
    cell, faults = _load(path)
    if cell is None:
        return BAD_INPUT
    programs, asked = _programs(files, cell, path, asked, named, fresh=options.fresh)
    answers, failed = _answer_all(asked, cell, programs)
    if not answers:
        return BAD_INPUT
    asks = {name: question.ASKS for name, question in asked.items()}
    _write_page(
        target,
        answers,
        cell.shop.name or path.name,
        asks,
        [*_fingerprints(path, cell), *_digests([path.parent / one.name for one in programs])],
        faults,
        failed,
    )
    return BAD_INPUT if failed else OK


def _print(options: argparse.Namespace) -> int:
    from gudgeon.cell.files import write_bytes_safely
    from gudgeon.faces.paper import page, pdf
    from gudgeon.faces.paper.matter import Run
    from gudgeon.faces.paper.printing import UnknownSheetError, choose, lay_out
    from gudgeon.faces.programs import Progress
    from gudgeon.findings import Findings
    from gudgeon.sheets import find_sheets
    from gudgeon.sheets.known import Known

    cells = [word for word in options.words if word.lower().endswith(".toml")]
    if len(cells) != 1:
        raise _Stop("name the cell file, and only one; write: gudgeon print cell.toml")
    path = Path(cells[0])
    target = Path(options.to) if options.to else path.with_name(f"{path.stem}-paper.pdf")
    kind = target.suffix.lower()
    if kind not in (".pdf", ".html", ".htm"):
        raise _Stop(f"{_shown(target)} must end in .pdf or .html")
    if kind == ".pdf" and not pdf.is_there():
        raise _Stop(
            'a PDF needs typst, not installed yet; install "gudgeon[paper]", or write a page that '
            "prints: --to sheets.html"
        )
    day = _day_of(options.date)
    try:
        chosen = choose(
            [word for word in options.words if word not in cells], _known(), find_sheets()
        )
    except UnknownSheetError as problem:
        raise _Stop(str(problem)) from None
    _may_write(target, path, pdf.MARK if kind == ".pdf" else page.MARK)
    cell, faults = _load(path)
    if cell is None:
        return BAD_INPUT
    # Sheets ask on their own: the cell's programs are there for them, whatever was named.
    programs, asked = _programs([], cell, path, _known(), 0, fresh=False)
    findings = Findings(cell, programs)
    inch = findings.units.inch
    run = Run(
        cell=cell.shop.name or path.name,
        date=day,
        inch=inch,
        inputs=(
            *_fingerprints(path, cell),
            *_digests([path.parent / one.name for one in programs]),
        ),
        paper=options.paper or ("letter" if inch else "a4"),
        version=__version__,
    )
    progress = Progress("printing")
    notes = [f"{one['what']}: {one['do']}" for one in faults]
    try:
        laid = lay_out(chosen.among(asked), Known(findings), run, notes=notes, told=progress)
    finally:
        progress.done()
        _clear_lines(programs)
    for name, fault in laid.failed:
        _own_fault(f'"{name}" was not printed', fault)
    if not laid.pages:
        return BAD_INPUT
    write = page.write_page if kind != ".pdf" else pdf.write_pdf
    made = write(laid.pages, run)
    try:
        write_bytes_safely(
            target, made.encode("utf-8") if isinstance(made, str) else made, overwrite=True
        )
    except OSError as problem:
        raise _Stop(f"cannot write {_shown(target)}: {problem.strerror or problem}") from None
    print(f"written: {_shown(target.resolve())}")
    size = {"a4": "A4", "letter": "Letter"}[run.paper]
    print(f"         {len(laid.pages)} sheets on {size} paper; print at 100 %, black is enough")
    return BAD_INPUT if laid.failed else OK


def _day_of(word: str | None) -> str:
    """Return the day that is printed: the one that was named, or today."""
    from datetime import UTC, date, datetime

    if word is None:
        return datetime.now(tz=UTC).astimezone().date().isoformat()
    try:
        return date.fromisoformat(word).isoformat()
    except ValueError:
        raise _Stop(f'"{_shown(word)}" is no day; write it as 2030-05-17') from None


def _write_page(
    target: Path,
    answers: list[Answer],
    name: str,
    asks: dict[str, str],
    inputs: list[tuple[str, str]],
    faults: list[dict[str, Any]],
    failed: list[str],
) -> None:
    """Write answers to one HTML file and say where."""
    from datetime import UTC, datetime

    from gudgeon.cell.files import write_text_safely
    from gudgeon.faces.report import write_report

    page = write_report(
        answers,
        name,
        asks=asks,
        date=datetime.now(tz=UTC).astimezone().date().isoformat(),
        inputs=inputs,
        failed=failed,
        warnings=[f"{fault['what']}: {fault['do']}" for fault in faults],
        version=__version__,
    )
    try:
        write_text_safely(target, page, overwrite=True)
    except OSError as problem:
        raise _Stop(f"cannot write {_shown(target)}: {problem.strerror or problem}") from None
    print(f"written: {_shown(target.resolve())}")
    print("         opens in any browser without a network; prints on A4 or Letter")


def _timed_programs(cell: Cell, path: Path) -> list[ProgramText]:
    """Return the programs that were timed at the machine; one that is not there is told later."""
    from gudgeon.faces.programs import BadProgramError, Neighbours, load_program
    from gudgeon.findings.programs import ProgramText

    found = []
    names = (one.program for one in cell.timing.stopwatch if one.program is not None)
    for file in dict.fromkeys(path.parent / name for name in names):
        beside = Neighbours(file)
        with contextlib.suppress(BadProgramError):
            text = load_program(file)
            found.append(ProgramText(file.name, text, called=beside, names=beside.names))
    return found


def _read(options: argparse.Namespace) -> int:
    from gudgeon.faces.programs import BadProgramError, Neighbours, Progress, load_program
    from gudgeon.faces.wording import exit_code

    program, path = (Path(word) for word in options.files)
    if program.suffix.lower() == ".toml" and path.suffix.lower() != ".toml":
        program, path = path, program  # what is meant is plain
    target = None if options.to is None else Path(options.to)
    if target is not None:
        from gudgeon.faces.report import MARK

        _may_write(target, path, MARK)
    try:
        text = load_program(program)
    except BadProgramError as problem:
        raise _Stop(str(problem)) from None
    cell, faults = _load(path, as_json=options.json)
    if cell is None:
        return BAD_INPUT
    from gudgeon.findings import Findings
    from gudgeon.questions._read import ASKS, NAME, read_program

    beside, progress = Neighbours(program), Progress()
    try:
        answer = read_program(
            Findings(cell, _timed_programs(cell, path)),
            text,
            program.name,
            beside,
            progress,
            names=beside.names,
        )
    finally:
        progress.done()
    if target is not None:
        inputs = [
            *_fingerprints(path, cell),
            *_digests([program, *(program.parent / name for name in beside.names.values())]),
        ]
        name = f"{program.name} on {cell.shop.name or path.name}"
        _write_page(target, [answer], name, {NAME: ASKS}, inputs, faults, [])
    elif options.json:
        _print_json(answer.as_data())
    else:
        from gudgeon.faces.plain import answer_text

        print(answer_text(answer, ASKS, drawn_by="gudgeon read ... --to FILE"), end="")
    return exit_code([answer], failed=False)


def _order(options: argparse.Namespace) -> int:
    from contextlib import nullcontext

    from gudgeon.cell.files import write_text_safely
    from gudgeon.faces.order import (
        ProgramRefusedError,
        Until,
        effort_for,
        program_to_write,
        seeking_seconds,
    )
    from gudgeon.faces.plain import answer_text
    from gudgeon.faces.wording import exit_code
    from gudgeon.findings import Findings

    path, minutes = Path(options.cell), options.minutes
    if minutes is not None and not 0.0 < minutes <= MOST_MINUTES:
        raise _Stop(f"--minutes {minutes:g} is no time to seek for; write 0.1 to {MOST_MINUTES:g}")
    cell, _ = _load(path, as_json=options.json)
    if cell is None:
        return BAD_INPUT
    known = _known()
    programs, asked = _programs([], cell, path, {"order": known["order"]}, 1, fresh=False)
    until = None if minutes is None else Until(seeking_seconds(minutes))
    with until or nullcontext():
        findings = Findings(cell, programs, effort_for(minutes, until))
        answer = asked["order"].answer(findings)
    if options.json:
        _print_json(answer.as_data())
    else:
        print(answer_text(answer, asked["order"].ASKS), end="")
    if options.to is not None:
        target = Path(options.to)
        if not target.parent.is_dir():
            raise _Stop(f"there is no folder {_shown(target.parent)}; make it first")
        try:
            write_text_safely(target, program_to_write(findings, target))
        except ProgramRefusedError as problem:
            raise _Stop(str(problem)) from None
        except OSError as problem:
            raise _Stop(f"cannot write {_shown(target)}: {problem.strerror or problem}") from None
        print(f"written: {_shown(target)}; not proven clear: ask clears before it runs")
    return exit_code([answer], failed=False)


def _write(options: argparse.Namespace) -> int:
    from gudgeon.cell.files import write_text_safely
    from gudgeon.faces.write import file_text, program_named, refusal_text, start_text
    from gudgeon.findings import Findings

    path = Path(options.cell)
    day = _day_of(options.date)
    target = None if options.to is None else Path(options.to)
    if target is not None and target.exists():
        raise _Stop(f"{_shown(target)} exists already and is left alone; give another name")
    if target is not None and not target.parent.is_dir():
        raise _Stop(f"there is no folder {_shown(target.parent)}; make it first")
    cell, _ = _load(path)
    if cell is None:
        return BAD_INPUT
    written = program_named(Findings(cell), options.program)
    if written.refused:
        print(f"gudgeon: no program is written\n{refusal_text(written)}", file=sys.stderr)
        return NOT_OFFERED
    text = file_text(written, cell.shop.name or path.name, day, _fingerprints(path, cell))
    if target is None:
        print(text, end="")
        return OK
    try:
        write_text_safely(target, text)
    except OSError as problem:
        raise _Stop(f"cannot write {_shown(target)}: {problem.strerror or problem}") from None
    print(f"written: {_shown(target)}\n{start_text(written)}")
    return OK


def _day(options: argparse.Namespace) -> int:
    from gudgeon.faces.day import DayError, keep, listed
    from gudgeon.faces.wording import ascii_text

    path = Path(options.cell)
    cell, _ = _load(path)
    if cell is None:
        return BAD_INPUT
    try:
        text = keep(cell, path, options.words, options.correct) if options.words else ""
        if options.list or not options.words:
            text += listed(cell, path)
    except DayError as problem:
        raise _Stop(str(problem)) from None
    print("\n".join(ascii_text(line) for line in text.splitlines()))
    return OK


def _show(options: argparse.Namespace) -> int:
    path = Path(options.cell)
    if not path.is_file():
        is_folder = "is a folder; name the cell file in it"
        none = f"is not there; make a first one with  gudgeon start {_shown(path)}"
        raise _Stop(f"{_shown(path)} {is_folder if path.is_dir() else none}")
    if options.port is not None and not 0 <= options.port <= 65_535:
        raise _Stop(f"there is no port {options.port}; write one from 1024 to 65535")
    code: int = _web("start").show(
        path,
        port=options.port,
        lan=options.lan,
        read_only=options.read_only,
        browser=not options.no_open,
        say=_now,
    )
    return code


def _web(name: str) -> Any:
    """Return a module of the page, or stop where what it needs is not installed."""
    import importlib
    from importlib.util import find_spec

    lacking = [needed for needed in ("fastapi", "uvicorn") if find_spec(needed) is None]
    if lacking:
        raise _Stop(
            f'the page needs {" and ".join(lacking)}, not installed yet; install "gudgeon[web]"'
        )
    return importlib.import_module(f"gudgeon.faces.web.{name}")


def _now(line: str) -> None:
    print(_shown(line), flush=True)


def _schema(options: argparse.Namespace) -> int:
    if options.what == "page":
        print(_web("routes").page_schema(), end="")
        return OK
    from importlib.resources import files

    name = f"schemas/{options.what}-1.json"
    print(files("gudgeon").joinpath(name).read_text(encoding="utf-8"), end="")
    return OK


def _questions(options: argparse.Namespace) -> int:
    from gudgeon.faces.plain import rule, wrapped
    from gudgeon.faces.wording import ascii_text

    known = _known()
    if options.question is None:
        for name, question in known.items():
            print("\n".join(wrapped(question.ASKS, 80, f" {name:<10} ")))
        return OK
    name = _find(options.question, known)
    print(rule(name, "") + "\n")
    for line in (known[name].__doc__ or known[name].ASKS).splitlines():
        print("" if not line.strip() else " " * _indent(line) + ascii_text(line))
    return OK


# --- what the commands share ------------------------------------------------------------------


def _known() -> dict[str, Question]:
    from gudgeon.questions import find_questions

    return find_questions()


def _sort_words(words: Sequence[str]) -> tuple[dict[str, Question], int, list[Path], Path]:
    """Tell questions, programs and the cell file apart.

    Returns the questions asked, how many were named, the programs and the cell file.
    """
    known = _known()
    programs = [Path(word) for word in words if _is_program(word, known)]
    words = [word for word in words if not _is_program(word, known)]
    if not words:
        raise _Stop("the cell file is missing; write: gudgeon ask clears PROGRAM cell.toml")
    *names, last = words
    path = Path(last)
    files = [word for word in names if word.lower().endswith(".toml") and word.lower() not in known]
    if len(files) == 1 and last.lower() in known and not path.exists():
        # The cell file stands before the questions; what is meant is plain.
        names = [word for word in words if word != files[0]]
        last, path = files[0], Path(files[0])
    if last.lower() in known and not path.exists():
        asked = " ".join(words)
        raise _Stop(f"the cell file is missing; write: gudgeon ask {_shown(asked)} cell.toml")
    for name in names:
        if name.lower() not in known and name.lower().endswith(".toml"):
            raise _Stop(f"the cell file comes last, and only one; {_shown(name)} is not a question")
    found = [_find(name, known) for name in names]
    asked_names = list(dict.fromkeys(found)) or list(known)
    return {name: known[name] for name in asked_names}, len(set(found)), programs, path


def _is_program(word: str, known: Mapping[str, Question]) -> bool:
    """Tell whether a word is an NC program: a file that is there and no cell file."""
    return word.lower() not in known and not word.lower().endswith(".toml") and Path(word).is_file()


def _programs(
    files: Sequence[Path],
    cell: Cell,
    path: Path,
    asked: dict[str, Question],
    named: int,
    *,
    fresh: bool,
) -> tuple[list[ProgramText], dict[str, Question]]:
    """Return the programs named in the command, else in the cell file, and what is then asked.

    Questions that need a program are left out where there is none, unless they were named.
    """
    from gudgeon.faces.programs import (
        BadProgramError,
        Folder,
        Neighbours,
        Progress,
        load_program,
    )
    from gudgeon.findings.programs import ProgramText

    needed = any(getattr(question, "NEEDS_PROGRAM", False) for question in asked.values())
    if not needed and not any(getattr(one, "USES_PROGRAM", False) for one in asked.values()):
        if files:
            raise _Stop(f"no question asked here is about a program; {files[0].name} is not used")
        return [], asked
    keep = Folder(path.parent / ".gudgeon", fresh=fresh)
    own = {path.parent / one.file: one for one in cell.programs if one.file is not None}
    found = []
    for file in files or own:
        declared = own.get(file)
        beside = Neighbours(file)
        try:
            text = load_program(file)
        except BadProgramError as problem:
            if needed or files:
                raise _Stop(str(problem)) from None
            _say(f"gudgeon: {problem}")  # the answer goes on without it
            continue
        found.append(
            ProgramText(
                file.name,
                text,
                called=beside,
                names=beside.names,
                reading=Progress(),
                proving=Progress("proving"),
                keep=keep,
                clearance_mm=None
                if declared is None or declared.clearance is None
                else declared.clearance.value,
            )
        )
    if not found and not named:
        asked = {
            name: question
            for name, question in asked.items()
            if not getattr(question, "NEEDS_PROGRAM", False)
        }
    return found, asked


def _find(word: str, known: dict[str, Question]) -> str:
    """Return the name of the question meant by `word`, or stop with the nearest name."""
    if word.lower() in known:
        return word.lower()
    near = difflib.get_close_matches(word.lower(), known, n=1, cutoff=0.5)
    hint = f'do you mean "{near[0]}"?' if near else f"the questions are: {', '.join(known)}"
    raise _Stop(f'"{_shown(word)}" is not a question; {hint}')


def _load(path: Path, *, as_json: bool = False) -> tuple[Cell | None, list[dict[str, Any]]]:
    """Read a cell file, print its faults, and return the cell (``None`` after an error)."""
    from gudgeon.cell.faults import as_data, as_text
    from gudgeon.cell.files import load

    loaded = load(path)
    if loaded.faults:
        print(as_text(loaded.faults), end="", file=sys.stderr)
    faults = as_data(loaded.faults)
    if loaded.cell is None and as_json:
        _print_json({"schema": FAULTS_SCHEMA, "cell": str(path), "faults": faults})
    return loaded.cell, faults


def _answer_all(
    asked: dict[str, Question], cell: Cell, programs: Sequence[ProgramText] = ()
) -> tuple[list[Answer], list[str]]:
    """Answer each question; a fault of ours in one does not lose the others."""
    from gudgeon.findings import Findings

    findings = Findings(cell, programs)
    answers, failed = [], []
    for name, question in asked.items():
        try:
            answers.append(question.answer(findings))
        except Exception as problem:  # whatever it is, the other answers are still wanted
            failed.append(name)
            _own_fault(f'"{name}" was not worked out', problem)
    _clear_lines(programs)
    return answers, failed


def _clear_lines(programs: Sequence[ProgramText]) -> None:
    """Take away the lines that tell how far programs are read and proven."""
    for program in programs:
        for told in (program.reading, program.proving):
            getattr(told, "done", lambda: None)()


def _own_fault(what: str, problem: Exception) -> None:
    """Say in one plain line that the program is at fault, and how to report it."""
    if os.environ.get(TRACE) == "1":
        import traceback

        traceback.print_exception(problem)
    _say(
        f"gudgeon: {what}, because of a fault in Gudgeon itself ({type(problem).__name__}: "
        f"{_shown(problem)}). Please report this line together with the cell file; with {TRACE}=1 "
        "set, the place in the code is shown."
    )


def _print_json(data: dict[str, Any]) -> None:
    import json

    from gudgeon.faces.wording import plain_data

    print(json.dumps(plain_data(data), indent=1, allow_nan=False))


def _may_write(target: Path, cell: Path, mark: str) -> None:
    """Stop unless `target` is free, or an earlier report."""
    if target.is_dir():
        raise _Stop(f"{_shown(target)} is a folder; give a file name behind --to")
    if not target.parent.is_dir():
        raise _Stop(f"there is no folder {_shown(target.parent)}; make it first")
    if not target.exists():
        return
    same = cell.exists() and target.samefile(cell)
    try:
        content = target.read_bytes()
    except OSError as problem:
        raise _Stop(f"cannot read {_shown(target)}: {problem.strerror or problem}") from None
    # A PDF tells far from its start what it is about.
    head = content if content.startswith(b"%PDF") else content[:2000]
    if same or mark.encode("ascii") not in head:
        raise _Stop(f"{_shown(target)} is not an earlier report and is left alone; name another")


def _fingerprints(path: Path, cell: Cell) -> list[tuple[str, str]]:
    """Return name and SHA-256 of the files that the answers rest on."""
    files = [path]
    if cell.readings.file:
        files.append(path.parent / cell.readings.file)
    files += [path.parent / name for name in (cell.drift.days, cell.drift.production) if name]
    files.append(path.with_name(f"{path.stem}.days.sqlite"))
    return _digests(files)


def _digests(files: Sequence[Path]) -> list[tuple[str, str]]:
    import hashlib

    return [
        (file.name, hashlib.sha256(file.read_bytes()).hexdigest())
        for file in files
        if file.is_file()
    ]


def _prompt(words: str) -> str:
    """Ask a person one thing; used by ``gudgeon start``."""
    return input(words)


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _shown(words: object) -> str:
    from gudgeon.faces.wording import ascii_text

    return ascii_text(words)


def _say(words: str) -> None:
    from gudgeon.faces.plain import wrapped

    print("\n".join(wrapped(words, 80)), file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
