"""Contradictions between entries about time and about what must come first."""

from __future__ import annotations

from collections.abc import Iterator

from gudgeon.cell.faults import Fault
from gudgeon.cell.model import Cell
from gudgeon.cell.places import Source
from gudgeon.program.dialect import Meaning
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = [
    "after_other_part",
    "brakes_without_meaning",
    "feed_over_rapids",
    "own_sister",
    "waits_for_itself",
]


def feed_over_rapids(cell: Cell, source: Source) -> Iterator[Fault]:
    """C070: a greatest feed that no axis reaches."""
    motion = cell.machine.motion
    rapids = {
        key: amount
        for key in ("rapid_x", "rapid_y", "rapid_z")
        if (amount := getattr(motion, key)) is not None
    }
    if motion.feed_most is None or "rapid_x" not in rapids:
        return
    # All three at once: no path is faster than their vector sum, and a slip of a digit is more.
    most = sum(
        rapids.get(key, rapids["rapid_x"]).value ** 2 for key in ("rapid_x", "rapid_y", "rapid_z")
    )
    if motion.feed_most.value <= most**0.5 * (1.0 + 1e-9):
        return
    units = Units(inch=cell.shop.units == "in", currency=cell.currency)
    yield Fault(
        "C070",
        "warning",
        "the greatest feed is faster than all rapids together",
        (
            *(source.value(("machine", "motion", key)) for key in rapids),
            source.value(("machine", "motion", "feed_most")),
        ),
        f"{units.text(Kind.SPEED, motion.feed_most.value)} is more than X, Y and Z make together, "
        f"{units.text(Kind.SPEED, most**0.5)}. Times are worked out with the rapids.",
        "see both in the machine's manual, and mend the one that is wrong",
    )


def own_sister(cell: Cell, source: Source) -> Iterator[Fault]:
    """C071: a tool that is named as its own sister, or a sister named twice."""
    for number, tool in enumerate(cell.tools):
        for place, sister in enumerate(tool.sisters):
            itself = sister == tool.number
            if not itself and sister not in tool.sisters[:place]:
                continue
            yield Fault(
                "C071",
                "error",
                f"tool {sister} is named as its own sister"
                if itself
                else f"tool {tool.number} names its sister {sister} twice",
                (source.value(("tools", number, "sisters", place)),),
                "It would last as long as two tools.",
                f"take {sister} out of sisters, or write the number of the other tool",
            )


def waits_for_itself(cell: Cell, source: Source) -> Iterator[Fault]:
    """C072: operations that each have to wait for the other."""
    named = {cut.name: i for i, cut in enumerate(cell.operations) if cut.name is not None}
    done: set[int] = set()
    for first in range(len(cell.operations)):
        ring = _ring_from(cell, named, first, done)
        if not ring:
            continue
        names = [str(cell.operations[i].name) for i in ring]
        places = []
        for here, then in zip(ring, (*ring[1:], ring[0]), strict=True):
            at = cell.operations[here].after.index(str(cell.operations[then].name))
            places.append(source.value(("operations", here, "after", at)))
        told = f'"{names[0]}"'
        yield Fault(
            "C072",
            "error",
            f"the operation {told} must be done before itself"
            if len(ring) == 1
            else f"{len(ring)} operations each have to wait for the next",
            tuple(places),
            "Not one of them could ever be the first: "
            + " after ".join(f'"{name}"' for name in (*names, names[0]))
            + ".",
            "take one of the names out of after",
        )


def _ring_from(cell: Cell, named: dict[str, int], first: int, done: set[int]) -> tuple[int, ...]:
    """Return a ring of operations that is met from `first`; `done` are left without one."""
    if first in done:
        return ()
    path: list[int] = [first]
    on_path = {first: 0}
    waits = [iter(cell.operations[first].after)]
    while path:
        name = next(waits[-1], None)
        if name is None:
            last = path.pop()
            del on_path[last]
            waits.pop()
            done.add(last)
            continue
        then = named.get(name)
        if then is None or then in done:
            continue
        if then in on_path:
            ring = tuple(path[on_path[then] :])
            done.update(path)  # one ring is told, not every way into it
            return ring
        on_path[then] = len(path)
        path.append(then)
        waits.append(iter(cell.operations[then].after))
    return ()


def after_other_part(cell: Cell, source: Source) -> Iterator[Fault]:
    """C073: an operation that waits for one on another part."""
    named = {cut.name: cut for cut in cell.operations if cut.name is not None}
    for number, cut in enumerate(cell.operations):
        for place, name in enumerate(cut.after):
            other = named.get(name)
            if other is None or cut.part is None or other.part in (None, cut.part):
                continue
            yield Fault(
                "C073",
                "warning",
                f'"{cut.name or number + 1}" waits for an operation on another part',
                (
                    source.value(("operations", number, "after", place)),
                    source.value(("operations", cell.operations.index(other), "part")),
                ),
                "What comes first counts on one part; between parts it orders nothing.",
                "name an operation on the same part, or take the name out of after",
            )


def brakes_without_meaning(cell: Cell, source: Source) -> Iterator[Fault]:
    """C074: a word that moves axes is said to clamp them."""
    for number, word in enumerate(cell.control.words):
        if word.brakes is None or word.means in (None, Meaning.NO_MOTION.value):
            continue
        yield Fault(
            "C074",
            "warning",
            f'the word "{word.word}" is said to work the brakes, and to mean "{word.means}"',
            (
                source.value(("control", "words", number, "means")),
                source.value(("control", "words", number, "brakes")),
            ),
            "Only a word without motion works the brakes; of this one only the meaning counts.",
            'write  means = "no motion" , or take brakes out',
        )
