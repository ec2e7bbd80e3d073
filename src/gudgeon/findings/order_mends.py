"""What would make a load shorter, found by seeking the order again, and what turns the order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from gudgeon.findings.effort import Effort
from gudgeon.findings.jobs import called
from gudgeon.findings.legs import CHANGE, CLAMP
from gudgeon.findings.network import Network, Round, Variation, best_round
from gudgeon.findings.ordering import OrderFinding, OrderFindings

__all__ = ["Mend", "OrderMendFindings", "Turn"]

LEAST_S: Final = 0.5
"""Less a load is not worth a word."""

MOST_NODES: Final = 150
"""For more cuts than these only what needs no new order is looked at; it would take minutes."""

MOST_TRIED: Final = 8
"""So many operations, and so many rules of what comes first, are tried at most."""

ROUNDS: Final = 1_500

CLAMP_SHARE: Final = 0.5
CHANGE_LESS_S: Final = 1.0
MOST_CHANGE: Final = 4.0
"""Times of a tool change are looked at up to this multiple of what is entered."""

STEPS: Final = 8


@dataclass(frozen=True, slots=True)
class Mend:
    """Something that would make a load shorter.

    Attributes
    ----------
    words : str
        What to do.
    saved_s : float
        Seconds a load.
    """

    words: str
    saved_s: float


@dataclass(frozen=True, slots=True)
class Turn:
    """At which time of a tool change another order wins.

    Attributes
    ----------
    change_s : float
        Time of a tool change [s].
    below : bool
        The other order wins below it, else above.
    changes : int
        Tool changes of the other order.
    """

    change_s: float
    below: bool
    changes: int


class OrderMendFindings(OrderFindings):
    """Facts about what would change the order, or shorten it."""

    @cached_property
    def order_mends(self) -> tuple[Mend, ...]:
        """What would make a load shorter, the best first; raises `Lacking`."""
        found = self.ordering
        tried = [*self._plain_mends(found)]
        if len(found.network.nodes) <= MOST_NODES:
            tried += self._sought_mends(found)
        tried = [mend for mend in tried if mend.saved_s >= LEAST_S]
        return tuple(sorted(tried, key=lambda mend: (-round(mend.saved_s, 3), mend.words)))

    @cached_property
    def order_turn(self) -> Turn | None:
        """The time of a tool change nearest to the entered one at which another order wins.

        ``None`` where none is found, or a load is too large to seek it again.  The time of each
        order is a straight line over the time of a change, with its number of changes as the
        slope: between two orders the next one to try is where their lines cross.
        """
        found = self.ordering
        now = found.network.times.change.seconds[CHANGE]
        if len(found.network.nodes) > MOST_NODES or found.changes == 0 or now <= 0.0:
            return None
        turns = [
            turn
            for more in (-now, (MOST_CHANGE - 1.0) * now)
            for turn in (self._turn(found, now, more),)
            if turn is not None
        ]
        return min(turns, key=lambda turn: abs(turn.change_s - now), default=None)

    # --- how it is worked out -------------------------------------------------------------------

    @property
    def _short_effort(self) -> Effort:
        return replace(self.effort, rounds=min(self.effort.rounds, ROUNDS), bound=0.0, told=None)

    def _plain_mends(self, found: OrderFinding) -> list[Mend]:
        """Return mends that follow from the order as it is: they are the least that is saved."""
        clamping = sum(leg.spent.seconds[CLAMP] for leg in found.legs)
        return [
            Mend("make each tool change 1 s shorter", CHANGE_LESS_S * found.changes),
            Mend("clamp and let go in half the time", CLAMP_SHARE * clamping),
        ]

    def _sought_mends(self, found: OrderFinding) -> list[Mend]:
        now, hint = found.round.seconds, found.round.nodes
        effort = self._short_effort

        def saved(
            network: Network,
            variation: Variation = Variation(),  # noqa: B008 - frozen
            without: frozenset[tuple[int, int]] = frozenset(),
        ) -> float:
            nodes = _carried(found.network, hint, network)
            return now - best_round(network, effort, variation, without=without, hint=nodes).seconds

        mends = [
            Mend(
                "let X and Y move while the unit turns",
                saved(found.network, Variation(at_once=True)),
            )
        ]
        if found.restricted:
            free = self.network_with(change_anywhere=True)
            mends.append(
                Mend(
                    "make every pose fit for a tool change (lower fixture, shorter tools)",
                    saved(free),
                )
            )
        with_spare = dict.fromkeys(job.number for job in found.jobs.jobs if job.spare)
        for number in list(with_spare)[:MOST_TRIED]:
            name = called(self.cell.operations[number], number)
            mends.append(
                Mend(
                    f'cut "{name}" in its second pose where that is nearer (needs work offsets and '
                    "a program for it)",
                    saved(self.network_with(frozenset({number}))),
                )
            )
        rules: dict[tuple[str, str], set[tuple[int, int]]] = {}
        jobs = found.jobs.jobs
        for first, then, _ in found.jobs.before:
            key = jobs[first].operation, jobs[then].operation
            rules.setdefault(key, set()).add((first, then))
        for (first_name, then_name), pairs in list(rules.items())[:MOST_TRIED]:
            mends.append(
                Mend(
                    f'do not make "{then_name}" wait for "{first_name}", if the part allows it',
                    saved(found.network, without=frozenset(pairs)),
                )
            )
        return mends

    def _turn(self, found: OrderFinding, now_s: float, more_s: float) -> Turn | None:
        """Return where the order that wins at another time of a change begins to win."""
        effort, network = self._short_effort, found.network
        own: Round = found.round
        turn: Turn | None = None
        for _ in range(STEPS):
            variation = Variation(change_more_s=more_s)
            other = best_round(network, effort, variation, hint=own.nodes)
            changes = sum(leg.change_pose is not None for leg in network.legs(other.nodes))
            kept = network.seconds(own.nodes, variation)
            if changes == found.changes or kept - other.seconds <= 1e-6:
                return turn
            at_now = network.seconds(other.nodes)
            # The two lines cross where what they differ by today is made up by the changes.
            more_s = (at_now - own.seconds) / (found.changes - changes)
            turn = Turn(now_s + more_s, changes > found.changes, changes)
        return turn


def _carried(network: Network, nodes: tuple[int, ...], other: Network) -> tuple[int, ...]:
    """Return the same round in a network that has further nodes."""
    at = {node: k for k, node in enumerate(other.nodes)}
    return tuple(at[network.nodes[node]] for node in nodes)
