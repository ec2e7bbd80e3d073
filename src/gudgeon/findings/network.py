"""Every leg between the jobs of a load, and the best order among them.

A load is closed: the tool in the spindle when it starts is the one that the load before ended with.
So each tool that may be the last is tried, and the best is taken.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.effort import Effort
from gudgeon.findings.jobs import Job, Way, same_pose
from gudgeon.findings.legs import CLAMP, INDEX, ChangeRule, Leg, State, Times, Turns, leg

if TYPE_CHECKING:
    from gudgeon.order.problem import Bound, Problem

__all__ = ["AS_IT_IS", "Network", "Round", "Variation", "best_round", "pose_changes"]

Floats = NDArray[np.float64]
Pair = tuple[int, int]

SAME_S: Final = 1e-6
"""Times nearer to each other than this are the same."""

PROVEN_S: Final = 1e-3
"""A bound as near as this to what was found proves it."""

EACH_MOST: Final = 60
"""Up to so many nodes each tool that may be the last is bounded by itself."""

FIRST_SHARE: Final = 0.2
SOUGHT_ON: Final = 2
"""Of more tools than this that may be the last, all are sought with that share of the rounds, and
so many, the best, with all of them."""

FAR_BEHIND: Final = 0.02
"""A tool with which the load ends longer than the best by this share is not sought further."""


@dataclass(frozen=True, slots=True)
class Variation:
    """What is tried instead of what the cell states.

    Attributes
    ----------
    change_more_s : float
        Added to each tool change [s]; may be negative.
    index_share : float
        Times of turning are multiplied by this.
    clamp_share : float
        Times of clamping are multiplied by this.
    at_once : bool
        X and Y move while the unit turns.
    """

    change_more_s: float = 0.0
    index_share: float = 1.0
    clamp_share: float = 1.0
    at_once: bool = False


AS_IT_IS: Final = Variation()


@dataclass(frozen=True, slots=True)
class Round:
    """One way through a load.

    Attributes
    ----------
    nodes : tuple of int
        Nodes of the network in order.
    seconds : float
        Change-over and known cutting time of a load, without loading [s].
    low_s : float or None
        No order is shorter [s]; ``None`` where no bound was sought.
    proven : bool
        Proven that none is shorter.
    """

    nodes: tuple[int, ...]
    seconds: float
    low_s: float | None = None
    proven: bool = False


class Network:
    """Nodes (a job in one of its ways) and the legs between them.

    Parameters
    ----------
    jobs : sequence of Job
    before : iterable of (int, int)
        Job that comes before another.
    own_s : sequence of float
        Known time of each job [s]; 0 where it is not known.
    lengths_mm : mapping of int to float
        Length of each tool, where known [mm].
    times : Times
    rule : ChangeRule
    load : State
        Where the spindle and the unit stand while the parts are loaded.
    spare_for : set of int
        Operations of which the ways that the cell does not allow count too.
    known : dict, optional
        Legs that another network of the same times and rule worked out; more are added to it.
    """

    def __init__(
        self,
        jobs: Sequence[Job],
        before: Iterable[Pair],
        own_s: Sequence[float],
        lengths_mm: dict[int, float],
        times: Times,
        rule: ChangeRule,
        load: State,
        *,
        spare_for: frozenset[int] = frozenset(),
        known: dict[tuple[State, State], Leg] | None = None,
    ) -> None:
        self.jobs = tuple(jobs)
        self.before = tuple(dict.fromkeys(before))
        self.own_s = np.asarray(own_s, dtype=np.float64)
        self.lengths = lengths_mm
        self.times, self.rule, self.load = times, rule, load
        self.spare_for = spare_for
        self.nodes: tuple[tuple[int, Way], ...] = tuple(
            (k, way)
            for k, job in enumerate(self.jobs)
            for way in (*job.ways, *(job.spare if job.number in spare_for else ()))
        )
        self.known: dict[tuple[State, State], Leg] = {} if known is None else known
        self._turns: Turns = {}

    # --- legs -----------------------------------------------------------------------------------

    def state(self, node: int) -> State:
        """Return where a node begins and ends: its tool over its zero in its pose."""
        return self._states[node]

    @cached_property
    def _states(self) -> tuple[State, ...]:
        return tuple(self._state(k, way) for k, way in self.nodes)

    def _state(self, k: int, way: Way) -> State:
        tool = self.jobs[k].tool
        if way.point_mm is None or tool not in self.lengths:
            return State(tool, way.angles_rad, None)
        # Dust of rounding would make two places of one.
        x, y, z = (round(at, 6) + 0.0 for at in way.point_mm)
        return State(tool, way.angles_rad, (x, y, round(z + self.lengths[tool], 6)))

    def loading(self, tool: int) -> State:
        """Return the state between two loads, with a tool in the spindle."""
        return replace(self.load, tool=tool)

    def between(self, start: State, end: State) -> Leg:
        """Return the leg between two states; each is worked out once."""
        key = (start, end)
        found = self.known.get(key)
        if found is None:
            found = self.known[key] = leg(start, end, self.times, self.rule, self._turns)
        return found

    def legs(self, nodes: Sequence[int]) -> tuple[Leg, ...]:
        """Return the legs of a round: to the first node, between them, and back to loading."""
        states = [self.state(node) for node in nodes]
        tool = states[-1].tool
        chain = [self.loading(tool), *states, self.loading(tool)]
        return tuple(self.between(a, b) for a, b in itertools.pairwise(chain))

    def seconds(self, nodes: Sequence[int], variation: Variation = AS_IT_IS) -> float:
        """Return how long a round takes [s]."""
        way = sum(varied(one, variation) for one in self.legs(nodes))
        return way + float(sum(self.own_s[self.nodes[node][0]] for node in nodes))

    # --- as a problem of order ------------------------------------------------------------------

    @property
    def last_tools(self) -> tuple[int, ...]:
        """Tools of the jobs that nothing has to follow."""
        followed = {first for first, _ in self.before}
        return tuple(
            dict.fromkeys(job.tool for k, job in enumerate(self.jobs) if k not in followed)
        )

    def matrices(self, variation: Variation) -> Floats:
        """Return seconds between nodes, shape (n, n); each kind of leg is looked up once."""
        kinds: dict[State, int] = {}
        at = np.array([kinds.setdefault(state, len(kinds)) for state in self._states])
        states = list(kinds)
        table = np.array([[varied(self.between(a, b), variation) for b in states] for a in states])
        return np.asarray(table[np.ix_(at, at)], dtype=np.float64)

    def ends(self, tool: int, variation: Variation) -> tuple[Floats, Floats]:
        """Return seconds to each node from loading with `tool`, and from each node back."""
        load = self.loading(tool)
        start = np.array([varied(self.between(load, s), variation) for s in self._states])
        finish = np.array(
            [
                varied(self.between(s, load), variation) if s.tool == tool else math.inf
                for s in self._states
            ]
        )
        return start, finish


def varied(one: Leg, variation: Variation) -> float:
    """Return the seconds of a leg under a variation [s]."""
    seconds = one.spent.total
    turning, clamping = one.spent.seconds[INDEX], one.spent.seconds[CLAMP]
    seconds -= turning * (1.0 - variation.index_share) + clamping * (1.0 - variation.clamp_share)
    if one.change_pose is not None:
        seconds += variation.change_more_s
    if variation.at_once:
        seconds -= min(one.at_once_s, turning * variation.index_share)
    return max(seconds, 0.0)


@dataclass(slots=True)
class _Closed:
    """The load closed by one tool: its problem, and the best round found of it."""

    problem: Problem
    seconds: float = math.inf
    order: tuple[int, ...] = ()

    def seek(
        self,
        rounds: int,
        seed: int,
        keep_going: Callable[[], bool] | None,
        told: Callable[[float], None] | None = None,
    ) -> None:
        from gudgeon.order.search import search

        found = search(self.problem, seed=seed, rounds=rounds, keep_going=keep_going, told=told)
        if found.seconds < self.seconds - SAME_S:
            self.seconds, self.order = found.seconds, found.order


def best_round(
    network: Network,
    effort: Effort,
    variation: Variation = AS_IT_IS,
    *,
    without: frozenset[Pair] = frozenset(),
    hint: Sequence[int] = (),
) -> Round:
    """Return the shortest round that is found, with a bound where one is sought.

    Parameters
    ----------
    network : Network
    effort : Effort
    variation : Variation
    without : set of (int, int)
        Pairs of jobs whose order is not kept.
    hint : sequence of int, optional
        A round that is allowed; what is found is never longer.
    """
    from gudgeon.order.problem import Problem

    between = network.matrices(variation)
    group = np.array([k for k, _ in network.nodes])
    own = network.own_s[group]
    before = [pair for pair in network.before if pair not in without]
    closed = [
        _Closed(Problem(between, own, *network.ends(tool, variation), group, before))
        for tool in network.last_tools
    ]
    _seek_all(closed, effort)
    if effort.keep_going is not None:
        _seek_on(closed, effort, effort.keep_going)
    best = min(closed, key=lambda one: one.seconds)
    seconds, order = best.seconds, best.order
    if hint and network.seconds(hint, variation) < seconds - SAME_S:
        seconds, order = network.seconds(hint, variation), tuple(hint)
    if effort.bound <= 0.0:
        return Round(order, seconds)
    return _with_bound(closed, effort, seconds, order)


def _seek_all(closed: Sequence[_Closed], effort: Effort) -> None:
    """Seek with the rounds asked for; where many tools may be the last, with fewer at first."""
    likely = list(closed)
    steps = len(closed)
    if len(closed) > SOUGHT_ON:
        steps += SOUGHT_ON
        for number, one in enumerate(closed):
            first = max(1, int(FIRST_SHARE * effort.rounds))
            one.seek(first, effort.seed, None, _share(effort.told, number, steps))
        likely = sorted(closed, key=lambda one: one.seconds)[:SOUGHT_ON]
    for number, one in enumerate(likely, start=steps - len(likely)):
        one.seek(effort.rounds, effort.seed, None, _share(effort.told, number, steps))


def _seek_on(closed: Sequence[_Closed], effort: Effort, keep_going: Callable[[], bool]) -> None:
    """Seek again with ever more rounds until told to stop; ends far behind are left alone."""
    rounds, seed = effort.rounds, effort.seed
    while keep_going():
        rounds, seed = 2 * rounds, seed + 1
        least = min(one.seconds for one in closed)
        for one in sorted(closed, key=lambda one: one.seconds):
            if one.seconds <= (1.0 + FAR_BEHIND) * least and keep_going():
                one.seek(rounds, seed, keep_going)


def _with_bound(
    closed: Sequence[_Closed], effort: Effort, seconds: float, order: tuple[int, ...]
) -> Round:
    """Return the round with a bound that holds whatever tool is the last.

    First all at once: a load that may begin with any tool and end with any other.  That one is
    never longer, but by about a tool change too short; where it leaves a gap and the load is small
    enough, each tool is bounded by itself.
    """
    least = -math.inf
    if len(closed) > 1:
        least = _low(_loosened(closed), effort, order).seconds
    small = closed[0].problem.nodes <= EACH_MOST
    if least < seconds - PROVEN_S and (small or len(closed) == 1):
        lows = []
        for one in sorted(closed, key=lambda one: one.seconds):
            low = _low(one.problem, effort, one.order, len(closed))
            if low.order is not None and one.problem.seconds(low.order) < seconds - SAME_S:
                seconds, order = one.problem.seconds(low.order), low.order
            lows.append(low.seconds)
        least = max(least, min(lows))
    return Round(order, seconds, min(least, seconds), least >= seconds - PROVEN_S)


def _low(problem: Problem, effort: Effort, hint: Sequence[int], share: int = 1) -> Bound:
    from gudgeon.order.bound import bound

    return bound(problem, effort=effort.bound / share, hint=hint, keep_going=effort.bound_going)


def _loosened(closed: Sequence[_Closed]) -> Problem:
    """Return the problem that begins and ends as is best for each node by itself."""
    from gudgeon.order.problem import Problem

    one = closed[0].problem
    start = np.min([each.problem.start for each in closed], axis=0)
    finish = np.min([each.problem.finish for each in closed], axis=0)
    return Problem(one.between, one.own, start, finish, one.group, one.before)


def _share(
    told: Callable[[float], None] | None, number: int, count: int
) -> Callable[[float], None] | None:
    """Return what tells the share of all searches that is done, inside one of them."""
    return None if told is None else lambda done: told((number + done) / count)


def pose_changes(network: Network, nodes: Sequence[int]) -> int:
    """Return how often the pose changes from cut to cut."""
    poses = [network.state(node).angles for node in nodes]
    return sum(not same_pose(a, b) for a, b in itertools.pairwise(poses))
