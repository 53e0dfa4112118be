"""Air: what a cut needs of it, and the dry stroke after it was away: SPEC.md, section 11."""

from __future__ import annotations

from functools import partial

from protocols.codes import OUTCOMES, PHASES
from protocols.conform.case import Case
from protocols.conform.peer import INPUTS, RESET
from protocols.conform.stops import AIR_LIMITS, BY_HAND, WIRED, Row, to_phase
from protocols.conform.talk import Talk
from protocols.limits import FITTED_BITS
from protocols.messages import Arm, Bench, Clear, Fire, Here, Phase, Run, Stop, Trip

_INPUTS = frozenset({INPUTS})


def _no_deed(talk: Talk) -> None:
    """Nothing is done in this row: its cases do it themselves."""


_AIR = Row(_no_deed, ("push",), "tripped", "-", "-", True, 17, True,
           ("air",), AIR_LIMITS)  # fmt: skip


def _before_cut(what: str, talk: Talk) -> None:
    number, part = {"air": (16, "air"), "supply": (29, "supply")}[what]
    talk.wake(fitted=1 << FITTED_BITS[part], air_min=1000, air_max=4000)
    talk.do(Here, 0)
    talk.plan()
    talk.do(Arm)
    talk.hands.readings(**({"air": 110} if what == "air" else {"supply_mv": 4000}))
    talk.wait(100)
    talk.refused(number, Fire, talk.fresh())
    talk.same("latches", talk.latches(), set())


def _dry_first(talk: Talk) -> None:
    """After a start, and after air was away: no portion before a dry stroke."""
    start = talk.mark
    talk.hands.reset("watchdog")
    talk.forget_limits()
    talk.next(Bench, since=start)
    talk.settled()
    talk.wake(fitted=1 << FITTED_BITS["air"], air_min=1000, air_max=4000)
    talk.do(Clear, 20)
    for vented in (False, True):
        if vented:
            talk.hands.readings(air=110)
            talk.wait(50)
            talk.hands.readings()
            talk.wait(50)
        talk.plan()
        talk.refused(17, Run, 7, 0, talk.fresh(), value=0, bound=0)
        talk.same("latches", talk.latches(), set())
        talk.dry_stroke()
        talk.plan(push=100)
        start = talk.mark
        talk.start()
        talk.same("outcome", talk.ended(start).outcome, 0)


def _air_in_push(talk: Talk) -> None:
    start = to_phase(talk, _AIR, "push")
    talk.wait(200)
    talk.hands.readings(air=110)
    talk.wait(50)
    talk.hands.readings()
    talk.say(Stop(0))
    talk.ended(start)
    talk.plan(take_up=0, push=50, draw_back=0)
    talk.refused(17, Run, 7, 0, talk.fresh())
    talk.dry_stroke()
    start = to_phase(talk, _AIR, "settle")
    talk.hands.readings(air=110)
    talk.wait(50)
    talk.hands.readings()
    talk.same("outcome", OUTCOMES[talk.ended(start).outcome], "tripped")
    talk.same("interlock", talk.next(Trip, since=start).interlock, 17)
    talk.check(PHASES.index("cut") not in [p.phase for p in talk.of(Phase, start)], "a cut began")
    talk.same("latches", talk.latches(), set())


CASES = (
    Case("IL-16", "11", "'fire' with too little air: no 16, no latch",
         partial(_before_cut, "air"), _INPUTS, WIRED + "'benchd cut' must refuse"),
    Case("IL-17", "11", "after a start, and after air was away, no portion before a dry stroke",
         _dry_first, frozenset({INPUTS, RESET}), WIRED + "reset the board, clear IL-20: 'benchd "
         "portion' must be refused until 'benchd cut'"),
    Case("IL-17 push", "12", "air that goes in a portion: it ends before its cut, no latch",
         _air_in_push, _INPUTS,
         "try it in the simulator: it takes air that is back before the cut"),
    Case("IL-29", "11", "'fire' with too low a logic supply: no 29, no latch",
         partial(_before_cut, "supply"), _INPUTS, BY_HAND["IL-29"]),
)  # fmt: skip
