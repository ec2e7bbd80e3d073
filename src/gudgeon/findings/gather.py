"""What is still missing: gathered in one go, and carried to the answer that needs it."""

from __future__ import annotations

from typing import TypeVar, cast

from gudgeon.answer import Missing

__all__ = ["Gather", "Lacking"]

T = TypeVar("T")


class Lacking(Exception):  # noqa: N818 - it is not an error: the shop does not know yet
    """A finding cannot be worked out because entries or readings are missing.

    Attributes
    ----------
    missing : tuple of Missing
        What to measure or enter, the most telling first.  Never empty.
    """

    def __init__(self, missing: tuple[Missing, ...]) -> None:
        super().__init__("; ".join(f"{item.where}: {item.what}" for item in missing))
        self.missing = missing


class Gather:
    """Collects absent entries so that they are named together, not one run at a time.

    Examples
    --------
    >>> gather = Gather("cell.toml")
    >>> mass = gather.need(None, "unit.mass", "mass of the unit", why="w", how="weigh it")
    >>> gather.stop()
    Traceback (most recent call last):
        ...
    gudgeon.findings.gather.Lacking: cell.toml: unit.mass: mass of the unit
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.missing: list[Missing] = []

    def need(self, value: T | None, key: str, what: str, *, why: str, how: str) -> T:
        """Return `value`; if it is absent, note it (call `stop` before using the result)."""
        if value is None or value == ():
            where = f"{self.file}: {key}"
            if all(item.where != where for item in self.missing):
                self.missing.append(Missing(what, where, why, how))
        return cast(T, value)

    def also(self, lacking: Lacking) -> None:
        """Add what another finding lacks."""
        known = {item.where for item in self.missing}
        self.missing.extend(item for item in lacking.missing if item.where not in known)

    def stop(self) -> None:
        """Raise `Lacking` if anything was missing."""
        if self.missing:
            raise Lacking(tuple(self.missing))
