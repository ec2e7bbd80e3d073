"""Programs handed in beside a cell, as text: findings open no file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

__all__ = ["Keep", "ProgramText"]


class Keep(Protocol):
    """A place where what is proven so far is kept, by a key that names exactly what it rests on."""

    def load(self, key: str) -> bytes | None:
        """Return what was kept under `key`; ``None`` if nothing was."""
        ...

    def save(self, key: str, data: bytes) -> None:
        """Keep `data` under `key`."""
        ...


@dataclass(frozen=True, slots=True)
class ProgramText:
    """One program as it was handed in.

    Attributes
    ----------
    name : str
        What its file is called.
    text : bytes
    called : callable, optional
        Text of another program by its number, ``None`` if there is none.
    names : mapping of number to str
        Files of the called programs; may be filled while they are asked for.
    reading, proving : callable, optional
        Get the share that is done; return False to stop.
    keep : Keep, optional
    clearance_mm : float, optional
        Clearance asked of this program.
    """

    name: str
    text: bytes
    called: Callable[[int], bytes | None] | None = None
    names: Mapping[int, str] = field(default_factory=dict)
    reading: Callable[[float], bool] | None = None
    proving: Callable[[float], bool] | None = None
    keep: Keep | None = None
    clearance_mm: float | None = None
