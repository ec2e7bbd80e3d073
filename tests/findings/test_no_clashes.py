"""Groups of findings share one object: none may hide a name of another by chance."""

from __future__ import annotations

from gudgeon.findings import Findings

SEAMS = {"load_time", "load_time_span"}
"""Left open by the money, filled in by the order, which knows nothing of it."""


def test_no_group_hides_a_name_of_another() -> None:
    owners: dict[str, type] = {}
    clashes = []
    for group in Findings.__mro__[1:-1]:
        for name in vars(group):
            if name.startswith("__") or name in SEAMS:
                continue
            owner = owners.setdefault(name, group)
            # A group that derives from the other may say more on purpose.
            if owner is not group and not issubclass(owner, group):
                clashes.append(f"{name}: {owner.__name__} and {group.__name__}")
    assert clashes == []
