"""Outside check values, retyped with their sources; see the ``source`` of each row."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


def rows(topic: str) -> dict[str, dict[str, Any]]:
    """Return the rows of one topic by id, such as ``rows("03-kinematics")``.

    Each row holds ``what``, ``inputs`` (name -> value), ``expected``, ``unit``, ``tolerance``
    (absolute, or a text "relative 0.01"), ``source`` and ``how``.
    """
    data = tomllib.loads((HERE / f"{topic}.toml").read_text(encoding="utf-8"))
    return {row["id"]: row for row in data["row"]}
