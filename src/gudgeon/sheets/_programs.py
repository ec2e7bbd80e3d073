"""Programs of our own on a sheet: the listing of one, or the same as steps by hand."""

from __future__ import annotations

from gudgeon.findings.written import Written
from gudgeon.sheets.shape import Listing, Step

__all__ = ["listing", "steps_by_hand"]


def listing(written: Written) -> Listing:
    """Return a program as it is printed, or why none is offered.

    Examples
    --------
    >>> listing(Written("warm-up", "Warm-up", refused="a post is in the way")).refused
    'a post is in the way'
    """
    return Listing(
        name=written.name,
        title=written.title,
        # Start and cautions, which head the file as remarks, are printed over the listing.
        lines=tuple((text, words) for text, words in written.lines if words),
        start=written.start if written.lines else "",
        refused=written.refused,
        cautions=written.cautions if written.lines else (),
    )


def steps_by_hand(written: Written) -> tuple[Step, ...]:
    """Return what hands can do where no program is offered; none where one is."""
    return tuple(
        Step(name=f"{written.name}_by_hand_{number}", order=order, see=see)
        for number, (order, see) in enumerate(written.by_hand, start=1)
    )
