"""What would make a load shorter, found by seeking the order again, and what turns the order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from gudgeon.findings.effort import Effort
from gudgeon.findings.gather import Lacking
from gudgeon.findings.jobs import called
from gudgeon.findings.legs import CHANGE, CLAMP, INDEX, Leg
from gudgeon.findings.network import Network, Variation, best_round
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
"""Times of a tool change and of turning are looked at up to this multiple of what they are."""

STEPS: Final = 8

SAME: Final = 1e-6
"""Times and slopes nearer to each other than this are the same."""


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
    """At which value of a time another order wins.

    Attributes
    ----------
    value : float
        Time of a tool change [s], or times of turning as a multiple of what they are now.
    below : bool
        The other order wins below it, else above.
    changes : int
        Tool changes of the other order.
    """

    value: float
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

        ``None`` where none is found, or a load is too large to seek it again.
        """
        found = self.ordering
        if found.changes == 0:
            return None
        now = found.network.times.change.seconds[CHANGE]
        if now <= 0.0:
            return None
        return self._nearest_turn(
            now,
            (0.0, MOST_CHANGE * now),
            lambda value: Variation(change_more_s=value - now),
            lambda legs: float(sum(leg.change_pose is not None for leg in legs)),
        )

    @cached_property
    def index_turn(self) -> Turn | None:
        """The share of the times of turning nearest to 1 at which another order wins, or None."""
        return self._nearest_turn(
            1.0,
            (1.0 / MOST_CHANGE, MOST_CHANGE),
            lambda value: Variation(index_share=value),
            lambda legs: sum(leg.spent.seconds[INDEX] for leg in legs),
        )

    # --- how it is worked out -------------------------------------------------------------------

    @property
    def _short_effort(self) -> Effort:
        rounds = min(self.effort.rounds, ROUNDS)
        return self._told_effort(replace(self.effort, rounds=rounds, bound=0.0, told=None))

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
        spare = list(dict.fromkeys(job.number for job in found.jobs.jobs if job.spare))[:MOST_TRIED]
        rules: dict[tuple[str, str], set[tuple[int, int]]] = {}
        jobs = found.jobs.jobs
        for first, then, _ in found.jobs.before:
            key = jobs[first].operation, jobs[then].operation
            rules.setdefault(key, set()).add((first, then))
        waits = list(rules.items())[:MOST_TRIED]
        of = 1 + found.restricted + len(spare) + len(waits)
        done = 0

        def saved(
            network: Network,
            variation: Variation = Variation(),  # noqa: B008 - frozen
            without: frozenset[tuple[int, int]] = frozenset(),
        ) -> float:
            nonlocal done
            nodes = _carried(found.network, hint, network)
            with self.part(done / of, (done + 1) / of):
                best = best_round(network, effort, variation, without=without, hint=nodes)
            done += 1
            return now - best.seconds

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
        for number in spare:
            name = called(self.cell.operations[number], number)
            try:
                less = saved(self.network_with(frozenset({number})))
            except Lacking:  # an axis that nothing else turns, and whose speed is not known
                continue
            mends.append(
                Mend(
                    f'cut "{name}" in its second pose where that is nearer (needs work offsets and '
                    "a program for it)",
                    less,
                )
            )
        for (first_name, then_name), pairs in waits:
            mends.append(
                Mend(
                    f'do not make "{then_name}" wait for "{first_name}", if the part allows it',
                    saved(found.network, without=frozenset(pairs)),
                )
            )
        return [*mends, *self._filled(found)]

    def _filled(self, found: OrderFinding) -> list[Mend]:
        """Return what a part would gain if the empty stations were loaded too."""
        if not found.jobs.empty or found.unknown:
            return []
        stations = tuple(replace(station, empty=None) for station in self.cell.stations)
        cell = replace(self.cell, stations=stations)
        filled = self.telling(type(self)(cell, self.programs, self._short_effort)).load_time
        if filled is None:
            return []
        gained = found.load.value / found.parts - filled.seconds_per_part
        names = ", ".join(found.jobs.empty)
        return [
            Mend(f"load {names} too (counted for the parts of a load now)", gained * found.parts)
        ]

    def _nearest_turn(
        self,
        now: float,
        ends: tuple[float, float],
        varied: Callable[[float], Variation],
        slope: Callable[[Sequence[Leg]], float],
    ) -> Turn | None:
        """Return the value nearest to `now`, between the ends, at which another order wins.

        The time of each order is a straight line over the value: between two orders the next value
        to try is where their lines cross.

        Parameters
        ----------
        now : float
        ends : tuple of 2 floats
        varied : callable
            The variation for a value.
        slope : callable
            By how much an order with these legs grows for each step of the value.
        """
        if len(self.ordering.network.nodes) > MOST_NODES:
            return None
        turns = []
        for number, end in enumerate(ends):
            with self.part(number / len(ends), (number + 1) / len(ends)):
                turns.append(self._turn(now, end, varied, slope))
        return min(
            (turn for turn in turns if turn is not None),
            key=lambda turn: abs(turn.value - now),
            default=None,
        )

    def _turn(
        self,
        now: float,
        end: float,
        varied: Callable[[float], Variation],
        slope: Callable[[Sequence[Leg]], float],
    ) -> Turn | None:
        found, effort = self.ordering, self._short_effort
        network, own = found.network, found.round
        grows = slope(network.legs(own.nodes))
        value, turn = end, None
        for step in range(STEPS):
            variation = varied(value)
            with self.part(step / STEPS, (step + 1) / STEPS):
                other = best_round(network, effort, variation, hint=own.nodes)
            legs = network.legs(other.nodes)
            apart = grows - slope(legs)
            kept = network.seconds(own.nodes, variation)
            if abs(apart) < SAME or kept - other.seconds <= SAME:
                return turn
            value = now + (network.seconds(other.nodes) - own.seconds) / apart
            changes = sum(leg.change_pose is not None for leg in legs)
            turn = Turn(value, end < now, changes)
        return turn


def _carried(network: Network, nodes: tuple[int, ...], other: Network) -> tuple[int, ...]:
    """Return the same round in a network that has further nodes."""
    at = {node: k for k, node in enumerate(other.nodes)}
    return tuple(at[network.nodes[node]] for node in nodes)
