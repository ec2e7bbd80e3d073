"""The cell file as a form, and changes from it: the file's own text is what is shown and kept."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from gudgeon.cell.edit import Change, changed, written_path
from gudgeon.cell.entry import Entry as Declared
from gudgeon.cell.entry import Shape, entries
from gudgeon.cell.faults import Fault as Told
from gudgeon.cell.journal import Journal
from gudgeon.cell.model import Cell
from gudgeon.cell.slips import limits_text
from gudgeon.cell.toml_places import Outline, outline
from gudgeon.faces.web.wire import Change as Asked
from gudgeon.faces.web.wire import Entry, Fault, Form, Section
from gudgeon.quantity.kinds import Kind

__all__ = ["edited", "fault_view", "form_of"]

Path = tuple[str | int, ...]

UNITS: Final[dict[Kind, tuple[str, ...]]] = {
    Kind.LENGTH: ("mm", "in", "um", "m"),
    Kind.ANGLE: ("deg", "arcmin", "arcsec", "rad"),
    Kind.MASS: ("kg", "lb"),
    Kind.FORCE: ("N", "lbf"),
    Kind.TORQUE: ("N*m", "lbf*ft", "lbf*in"),
    Kind.POWER: ("kW", "hp", "W"),
    Kind.SPEED: ("m/min", "in/min", "mm/min", "mm/s"),
    Kind.SPIN: ("rpm", "deg/s"),
    Kind.ACCELERATION: ("m/s2", "mm/s2", "in/s2"),
    Kind.SPIN_UP: ("deg/s2", "rad/s2"),
    Kind.JERK: ("m/s3", "mm/s3", "in/s3"),
    Kind.SPIN_JERK: ("deg/s3", "rad/s3"),
    Kind.TIME: ("s", "min", "h"),
    Kind.STRESS: ("MPa", "ksi", "psi"),
    Kind.TEMPERATURE: ("degC", "degF"),
    Kind.PER_YEAR: ("parts/yr", "parts/month"),
    Kind.SHARE: ("%",),
}
"""Units that a form offers; all others may be typed."""

_BEHIND: Final = re.compile(r"[0-9.]\s*([A-Za-z%][A-Za-z0-9*/^%.]*)\s*$")


def form_of(
    text: str,
    file: str,
    digest: str,
    faults: Iterable[Told] = (),
    *,
    can_undo: bool = False,
    can_redo: bool = False,
) -> Form:
    """Return the form of a cell file.

    Parameters
    ----------
    text : str
        The cell file.
    file, digest : str
        Its name and hash.
    faults : iterable of Fault
        What is wrong with it; each stands at its entry if it has one.
    """
    views = [(view, told) for told in faults for view in (fault_view(told),)]
    reader = _Reader(text, file, views)
    sections = reader.sections(Cell, ())
    return Form(
        digest=digest,
        file=file,
        sections=sections,
        faults=[view for view, _ in views],
        can_undo=can_undo,
        can_redo=can_redo,
    )


def fault_view(told: Told) -> Fault:
    """Return a fault as it goes over the wire."""
    place = told.places[0] if told.places else None
    return Fault(
        code=told.code,
        severity=told.level,
        file=place.file if place else "",
        line=place.line if place else None,
        column=place.start if place else None,
        column_end=place.end if place else None,
        text=place.text if place else "",
        what=told.what,
        why=told.why,
        mend=told.do,
    )


def edited(journal: Journal, seen: str, asked: Sequence[Asked]) -> None:
    """Make changes in the file that was seen, all or none.

    Raises
    ------
    EditError
        If one cannot be made.
    ChangedMeanwhile, OSError, StoreError
        As `Journal.change`.
    """
    changes = [Change(one.path, one.text) for one in asked]
    words = ", ".join(dict.fromkeys(one.path for one in asked))
    journal.change(seen, lambda text: changed(text, changes), words)


class _Reader:
    """Walks the declarations beside the text."""

    def __init__(self, text: str, file: str, faults: Sequence[tuple[Fault, Told]]) -> None:
        self.data = text.encode("utf-8")
        self.file = file
        self.seen: Outline = outline(text)
        self.starts = [0]
        for found in re.finditer(rb"\n", self.data):
            self.starts.append(found.end())
        self.by_line: dict[int, list[Fault]] = {}
        for view, told in faults:
            for place in told.places:
                if place.file == file and place.line is not None:
                    self.by_line.setdefault(place.line, []).append(view)

    def sections(self, of: type, under: Path) -> list[Section]:
        found = []
        for key, declared in entries(of).items():
            path = (*under, key)
            if declared.of is None:
                continue
            if declared.shape is Shape.SECTION:
                found.append(self._section(declared, declared.of, path))
            else:
                count = self._count(path)
                members = [self._section(declared, declared.of, (*path, n)) for n in range(count)]
                found.append(
                    Section(
                        path=written_path(path),
                        title=key,
                        doc=declared.doc,
                        many=True,
                        there=count > 0,
                        sections=members,
                    )
                )
        return found

    def _section(self, declared: Declared, of: type, path: Path) -> Section:
        lines = [
            self._entry(key, entry, (*path, key))
            for key, entry in entries(of).items()
            if entry.of is None
        ]
        return Section(
            path=written_path(path),
            title=str(path[-1] if isinstance(path[-1], str) else path[-2]),
            doc=declared.doc,
            there=self._there(path),
            entries=lines,
            sections=self.sections(of, path),
        )

    def _count(self, path: Path) -> int:
        numbers = [
            at[len(path)]
            for at in (*(block.path for block in self.seen.blocks), *self.seen.values)
            if at[: len(path)] == path and len(at) > len(path) and isinstance(at[len(path)], int)
        ]
        return max((int(number) + 1 for number in numbers), default=0)

    def _there(self, path: Path) -> bool:
        size = len(path)
        return any(block.path[:size] == path for block in self.seen.blocks) or any(
            at[:size] == path for at in self.seen.values
        )

    def _entry(self, key: str, entry: Declared, path: Path) -> Entry:
        assert entry.kind is not None
        span = self.seen.values.get(path)
        text: str | list[str] | None = None
        line = None
        if span is not None:
            line = self._line(span[0])
            text = _as_typed(self.data[slice(*span)].decode("utf-8"))
        units = UNITS.get(entry.kind, ())
        return Entry(
            path=written_path(path),
            key=key,
            doc=entry.doc,
            kind=entry.kind.value,
            shape=entry.shape.value,  # type: ignore[arg-type]
            choices=list(entry.choices),
            low=entry.low,
            high=entry.high,
            above=entry.above,
            limits=limits_text(entry),
            units=list(units),
            unit=_unit_of(text) if units else None,
            text=text,
            line=line,
            faults=self.by_line.get(line, []) if line is not None else [],
        )

    def _line(self, at: int) -> int:
        low, high = 0, len(self.starts)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self.starts[middle] <= at else (low, middle)
        return low + 1


def _as_typed(literal: str) -> str | list[str]:
    """Return a value without its quotation marks, one for each place of a list."""
    try:
        value = tomllib.loads(f"value = {literal}")["value"]
    except (tomllib.TOMLDecodeError, RecursionError):
        return literal
    if isinstance(value, list):
        return [_one(item) for item in value]
    return _one(value) if not isinstance(value, Mapping) else literal


def _one(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else str(value)


def _unit_of(text: str | list[str] | None) -> str | None:
    first = text[0] if isinstance(text, list) and text else text
    found = _BEHIND.search(first) if isinstance(first, str) else None
    return found[1] if found else None
