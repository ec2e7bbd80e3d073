"""Does it pay, and what would change that?

What it answers
---------------
What the unit is worth over the years you look at, when it has paid for itself, and how sure that
is, against a dedicated machine, more vise work, and going on as today.  It names the yearly volume
from which it pays and the one entry that would turn the answer.  Where the time of a part with the
unit is not entered, it is taken from the order of a load ("order"), with its range; where both are
known and contradict each other, the longer counts, and that is told.

Why it matters
--------------
The outlay is paid once and for certain; the saving comes part by part and only if the parts come.
A payback of 0.8 years at 1200 parts a year is one of 3.3 years at 345.

When it can mislead
-------------------
Saved time is money only if the freed hours are sold, or are not paid.  The times of the first parts
on a new fixture are longer than later ones.  Your ranges decide how sure the answer looks: a range
entered too narrow gives a certainty that nobody has.  Inputs are taken to vary independently, but a
slow year hits volume and rate together.  Tax, loans and inflation are left out: take the discount
rate before tax, and without inflation if prices and rates are today's.  Payback ignores what comes
after it; where payback and worth today disagree, follow the worth.

Sources
-------
Net present value, internal rate and annual equivalent: definitions of the numpy-financial 1.0
documentation.  Ranges: 20,000 seeded random draws, JCGM 101:2008.  Ranges and years that are put in
where none is entered: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from gudgeon.answer import Answer, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.cash_facts import NOTHING, SURE, UNIT, Cash, Flip, Option
from gudgeon.findings.cash_inputs import Input
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units
from gudgeon.questions._pays_show import (
    figures,
    pictures,
    shown,
    shown_turn,
    tables,
    volume_figures,
    years_text,
)
from gudgeon.questions._shared import cannot_tell

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "pays"
ASKS: Final = "Does it pay, and what would change that?"
PLACE: Final = 10
USES_PROGRAM: Final = True
"""The time of a part may come from the order, and the order from the programs."""

SOURCES: Final = (
    "net present value, internal rate, annual equivalent: numpy-financial 1.0 documentation",
    "propagation of distributions by random draws: JCGM 101:2008",
    "ranges, years and discount rate put in where none is entered: common practice, no source",
)

TELLING: Final = 0.25
"""Inputs with at least this share of the widest swing are named as worth narrowing."""

NAMED_MOST: Final = 3

FAR: Final = 10.0
"""A turn more than this many ranges away is no prospect."""

CERTAIN: Final = 0.999
"""Above this share of draws no range is worth narrowing before the order."""


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    units = findings.units
    try:
        cash = findings.cash
    except Lacking as lacking:
        return _unknown(findings, lacking)
    unit = cash.unit
    verdict = _verdict(cash)
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=_headline(cash, verdict, units),
        next_step=_next_step(cash, verdict, units),
        figures=figures(cash, units),
        tables=tables(cash, units),
        pictures=pictures(cash, units),
        flips=_flips(cash, units),
        fix=_fix(cash, verdict, units),
        assumed=(
            "the parts are made as today if nothing is done; savings are against that",
            "the freed hours are used for paid work, or are not paid",
            f"{cash.draws:,} random draws with seed {cash.seed}",
            *cash.stakes.assumed,
        ),
        missing=_worth_narrowing(cash, verdict, findings.cell.file),
        cautions=(*cash.stakes.cautions, *_cautions(unit, cash)),
        sources=SOURCES,
    )


# --- verdict and sentences ---------------------------------------------------------------


def _verdict(cash: Cash) -> Verdict:
    chance = cash.unit.chance_pays
    if chance >= SURE:
        return Verdict.YES
    if chance <= 1.0 - SURE:
        return Verdict.NO
    levers = cash.levers
    if levers.volume_plausible or levers.saved_plausible:
        return Verdict.YES_IF
    return Verdict.CANNOT_TELL


def _headline(cash: Cash, verdict: Verdict, units: Units) -> str:
    unit = cash.unit
    worth = units.text(Kind.MONEY, abs(unit.worth))
    span = f"over {cash.input('years').spread.value:g} years"
    if verdict is Verdict.YES:
        said = f"Yes, it pays: the outlay is back after {years_text(unit.payback)} and it earns "
        said += f"{worth} {span}, in today's money."
    elif verdict is Verdict.YES_IF:
        said = f"Yes, if {_condition(cash, units)}; as entered it pays with "
        said += f"{_percent(unit.chance_pays)} certainty."
    elif verdict is Verdict.NO:
        if unit.worth > 0.0:
            said = f"No: as entered it would earn {worth} {span}, but over all ranges it pays with "
            said += f"only {_percent(unit.chance_pays)} certainty."
        elif unit.yearly <= 0.0:
            saved = units.text(Kind.MONEY_PER_YEAR, unit.yearly)
            said = f"No, it never pays: after its running cost the saving is {saved}."
        elif math.isinf(unit.discounted):
            said = f"No, it never pays at this rate: it loses {worth} {span}, in today's money."
        else:
            said = f"No, it loses {worth} {span}, in today's money: the outlay is back only after "
            said += f"{years_text(unit.discounted)} (discounted)."
    else:
        widest = cash.input(cash.swings[0].name)
        said = f"Cannot tell yet whether it pays: its worth lies between {_money(unit, units)} "
        said += f"{span}; the {widest.label} moves it most."
    best = cash.best
    if best.name not in (UNIT, NOTHING) and best.worth > max(unit.worth, 0.0):
        more = units.text(Kind.MONEY, best.worth - unit.worth)
        said += f" But {best.words} would be worth {more} more."
    return said


def _money(option: Option, units: Units) -> str:
    low = units.text(Kind.MONEY, option.worth_low, sign=True)
    high = units.text(Kind.MONEY, option.worth_high, sign=True)
    return f"{low} and {high}"


def _condition(cash: Cash, units: Units) -> str:
    """Return what must be kept so that it pays in 95 % of the draws."""
    levers = cash.levers
    if levers.volume_plausible:
        now = units.text(Kind.PER_YEAR, cash.input("volume").spread.value)
        return f"you keep at least {levers.volume:,.0f} parts/yr ({now} entered)"
    minutes = _minutes_up(levers.saved_s)
    now = units.text(Kind.TIME, cash.unit.saved_s)
    origin = cash.origin("time_per_part")
    return f"it saves at least {minutes:.1f} min a part ({now} {origin})"


def _next_step(cash: Cash, verdict: Verdict, units: Units) -> str:
    unit, best = cash.unit, cash.best
    widest = _widest(cash)
    first = f"{widest.how[:1].upper()}{widest.how[1:]}" if widest else ""
    if verdict is not Verdict.NO and best.name not in (UNIT, NOTHING) and best.worth > unit.worth:
        price = cash.input(f"{best.name}.price")
        return f"Settle {best.words} first: {price.how}, check its time a part, and ask again."
    if verdict is Verdict.YES:
        buy = "see that it fits and holds, get written quotes for every item, then order."
        if widest is None or widest.stated or unit.chance_pays > CERTAIN:
            return f"{buy[:1].upper()}{buy[1:]}"
        return f"{first}: {widest.label} moves the result most. Then {buy}"
    if verdict is Verdict.YES_IF:
        if cash.levers.volume_plausible:
            return f"Get {cash.levers.volume:,.0f} parts a year confirmed in writing, then order."
        return (
            f"Prove {_minutes_up(cash.levers.saved_s):.1f} min saved a part: plan one load minute "
            "by minute and time three parts as made now with a stopwatch, then order."
        )
    if verdict is Verdict.NO:
        turn = _nearest(cash.flips)
        if turn is None or FAR < turn.away / 2.0 < math.inf:
            return "Do not buy it for this work."
        return (
            f"Do not buy it for this work; ask again when {turn.input.label} "
            f"{_reaches(turn)} {shown_turn(turn, units)}."
        )
    assert widest is not None  # a certainty between 5 and 95 % needs an input with a range
    return f"{first}, enter {widest.label} with its range, and ask again."


def _flips(cash: Cash, units: Units) -> str | None:
    """Return the nearest turn of the decision, and of the choice against the rivals."""
    said = []
    turn = _nearest(cash.flips)
    if turn is not None:
        pays = cash.unit.worth > 0.0
        said.append(
            f"It {'stops paying' if pays else 'starts to pay'} where {turn.input.label} "
            f"{_reaches(turn)} {shown_turn(turn, units)} "
            f"({_known(turn, units)}{_away(turn)})."
        )
    rival = _nearest(cash.rival_flips)
    if rival is not None and (turn is None or rival.input.name != turn.input.name):
        is_best = cash.best.name == UNIT
        said.append(
            f"It {'stops being' if is_best else 'becomes'} the best choice where "
            f"{rival.input.label} {_reaches(rival)} {shown_turn(rival, units)} "
            f"({_known(rival, units)}{_away(rival)})."
        )
    return " ".join(said) or None


def _known(turn: Flip, units: Units) -> str:
    return f"{shown(turn.input, turn.input.spread.value, units)} {turn.input.origin}"


def _away(turn: Flip) -> str:
    """Return how far off the turn is; one range is what the shop wrote behind the plus-minus."""
    if math.isinf(turn.away):
        return ""
    if turn.away / 2.0 > FAR:
        return ", far outside its range"
    return f", {turn.away / 2.0:.1f} times its range away"


def _reaches(turn: Flip) -> str:
    return "falls below" if turn.at < turn.input.spread.value else "rises to"


def _nearest(flips: tuple[Flip, ...]) -> Flip | None:
    return flips[0] if flips else None


def _fix(cash: Cash, verdict: Verdict, units: Units) -> str | None:
    """Return the smallest change of one lever, in share of its value, that makes it sure."""
    if verdict is Verdict.YES:
        return None
    levers, unit = cash.levers, cash.unit
    volume, outlay = cash.input("volume").spread.value, unit.outlay
    offers: list[tuple[float, str]] = []
    if math.isfinite(levers.volume) and levers.volume > volume:
        offers.append(
            (
                levers.volume / volume - 1.0 if volume > 0.0 else math.inf,
                f"Bring {levers.volume - volume:,.0f} more parts a year to it "
                f"({levers.volume:,.0f} in all)",
            )
        )
    now = cash.entered("time_per_part_now")
    possible = math.isfinite(levers.saved_s) and (now is None or levers.saved_s < now)
    if unit.saved_s > 0.0 and possible and levers.saved_s > unit.saved_s:
        more = _minutes_up(levers.saved_s) - unit.saved_s / 60.0
        offers.append(
            (
                levers.saved_s / unit.saved_s - 1.0,
                f"Save {more:.1f} min more a part ({_minutes_up(levers.saved_s):.1f} min in all)",
            )
        )
    if 0.0 < levers.outlay < outlay:
        less = units.text(Kind.MONEY, math.ceil(outlay - levers.outlay))
        most = units.text(Kind.MONEY, math.floor(levers.outlay))
        offers.append((1.0 - levers.outlay / outlay, f"Buy it for {less} less ({most} in all)"))
    if not offers:
        return None
    return f"{min(offers)[1]}: kept for certain, it then pays in {100.0 * SURE:.0f} % of the draws."


def _cautions(unit: Option, cash: Cash) -> tuple[str, ...]:
    said = ["Sums are before tax and are no tax or lending advice; ask whoever keeps your books."]
    if not cash.input("investment").stated and unit.outlay > 0.0:
        said.append("The outlay has no range of its own: decide on written quotes only.")
    if unit.rate is not None and unit.rate.several_possible:
        said.append("The sums change sign more than once: go by the worth, not by internal rate.")
    if math.isfinite(unit.payback) and unit.payback > cash.input("years").spread.value:
        said.append("The payback lies beyond the years looked at; resale is not counted in it.")
    return tuple(said)


def _worth_narrowing(cash: Cash, verdict: Verdict, file: str) -> tuple[Missing, ...]:
    """Return what would sharpen the answer, the input whose range costs most first."""
    narrow: list[Missing] = []
    if verdict in (Verdict.CANNOT_TELL, Verdict.YES_IF):
        widest = cash.swings[0].width
        for swing in cash.swings[:NAMED_MOST]:
            if swing.width <= 0.0 or swing.width < TELLING * widest:
                continue
            one = cash.input(swing.name)
            narrow.append(
                Missing(
                    what=f"narrower range of {one.label}",
                    where=f"{file}: {one.entry}",
                    why="its range moves the worth more than any other"
                    if not narrow
                    else "its range moves the worth too",
                    how_to_get_it=one.how,
                )
            )
    return (*narrow, *cash.stakes.sharpen)


def _widest(cash: Cash) -> Input | None:
    first = cash.swings[0]
    return cash.input(first.name) if first.width > 0.0 else None


def _unknown(findings: Findings, lacking: Lacking) -> Answer:
    """Answer with what is missing; if only the volume is, say from which volume on it pays."""
    about = "whether it pays"
    try:
        even = findings.break_even
    except Lacking:
        return replace(cannot_tell(NAME, lacking, about=about), sources=SOURCES)
    found = cannot_tell(NAME, lacking, about=about)
    if math.isfinite(even.paid):
        pays = f"from {even.paid:,.0f} parts/yr on it pays"
    else:
        pays = "at no volume does it pay, as a part takes no less time than today"
    return replace(
        found,
        headline=f"Cannot tell yet whether it pays: the volume is missing; {pays}.",
        figures=volume_figures(even),
        assumed=even.stakes.assumed,
        cautions=even.stakes.cautions,
        missing=(*lacking.missing, *even.stakes.sharpen),
        sources=SOURCES,
    )


def _percent(share: float) -> str:
    """Return a share of draws; no more certain than the number of draws can show."""
    if share >= 0.9995:
        return "over 99.9 %"
    return "under 0.1 %" if share < 0.0005 else f"{100.0 * share:.0f} %"


def _minutes_up(seconds: float) -> float:
    """Round up to a tenth of a minute, the fineness that is shown."""
    return math.ceil(seconds / 6.0 - 1e-9) / 10.0
