"""Beats, the leave to move, and what follows when it lapses: SPEC.md, section 8."""

from __future__ import annotations

from itertools import pairwise

from protocols.codes import MOVE_ENDINGS
from protocols.conform.case import Case
from protocols.conform.commands import JOG, lapse
from protocols.conform.peer import WRAP
from protocols.conform.talk import Talk
from protocols.limits import BEAT_HELD_MS, BEAT_MS, DRIVE_OFF_MS
from protocols.messages import Arm, Beat, Clear, Drive, Event, Fire, Lease, Moved, Phase, Trip

HELD = 1
LAPSED = MOVE_ENDINGS.index("lapsed")
_LEAST_MS = 20
_BYTES_US = 1_500
"""A lease on its way at the slowest speed of the firmware [us], and the board's next look."""


def _between(later_us: int, earlier_us: int) -> int:
    return (later_us - earlier_us) % 2**32


def _last_lease(beat: Beat) -> tuple[int, int]:
    return beat.lease, beat.lease_t_us


def _pace(talk: Talk, start: int, every_ms: int) -> None:
    beats = talk.of(Beat, start)
    talk.check(len(beats) > 5, f"{len(beats)} beats")
    numbers = [beat.nonce for beat in beats]
    talk.same("numbers", numbers, [(numbers[0] + k) % 65536 for k in range(len(numbers))])
    gaps = [_between(b.t_us, a.t_us) / 1000 for a, b in pairwise(beats)]
    for gap in (min(gaps), max(gaps), sum(gaps) / len(gaps)):
        talk.near("ms between two beats:", gap, every_ms, 6)


def _beats(talk: Talk) -> None:
    talk.beat()
    start = talk.mark
    talk.wait(1000)
    _pace(talk, start, BEAT_MS)


def _held_beats(talk: Talk) -> None:
    talk.wake()
    talk.move(HELD, 50_000)
    talk.beat()
    start = talk.mark
    talk.wait(600)
    _pace(talk, start, BEAT_HELD_MS)


def _told(talk: Talk) -> None:
    talk.leasing = False
    talk.settled()
    beat = talk.beat()
    talk.say(Lease(beat.nonce))
    after = talk.beat()
    talk.same("lease", after.lease, beat.nonce)
    took_us = _between(after.lease_t_us, beat.t_us)
    talk.check(0 < took_us <= _between(after.t_us, beat.t_us), f"lease_t_us {took_us} us later")


def _stale(talk: Talk) -> None:
    talk.leasing = False
    beat = talk.settled()
    # A beat every 100 ms: these are at least 300 ms old, or have not come yet.
    for number in (beat.nonce - 3, beat.nonce - 8, beat.nonce + 3, beat.nonce + 32_768):
        talk.say(Lease(number % 65_536))
        after = talk.beat()
        what = f"lease after {number % 65_536} at {after.nonce}"
        talk.same(what, _last_lease(after), _last_lease(beat))


def _lapses(talk: Talk, kind: int, length_ms: int) -> None:
    talk.move(kind, 90_000)
    talk.wait(400)
    start = talk.mark
    talk.leasing = False
    talk.moved(start)
    trip = talk.next(Trip, since=start)
    talk.same("interlock", trip.interlock, 18)
    talk.same("bound", trip.bound, length_ms)
    talk.near("ms since the lease", trip.value, length_ms, 3)
    talk.same("ending", talk.of(Moved, start)[0].reason, LAPSED)
    talk.same("latches", talk.latches(), {18})


def _lease_lapses(talk: Talk) -> None:
    talk.wake(lease_ms=400)
    _lapses(talk, JOG, 400)


def _held_lapses(talk: Talk) -> None:
    talk.wake(held_ms=150)
    _lapses(talk, HELD, 150)


def _flood(talk: Talk, numbers: list[int], length_ms: int) -> None:
    """Send these numbers at once, the last time that anything is said; the move must lapse when
    the lease of the last fresh one does."""
    start = talk.mark
    talk.leasing = False
    for number in numbers:
        talk.say(Lease(number % 65_536))
        talk.listen(2)
    trip = talk.next(Trip, 5_000, start)
    last = talk.of(Beat, start)[-1]
    talk.same("interlock", trip.interlock, 18)
    since_ms = _between(trip.t_us, last.lease_t_us) / 1000
    talk.near("ms from the last lease taken to the lapse:", since_ms, length_ms, 3)


def _stale_flood(talk: Talk) -> None:
    talk.wake(lease_ms=1000)
    talk.move(JOG, 90_000)
    talk.wait(200)
    talk.leasing = False
    talk.settled()
    talk.wait(300)
    beat = talk.settled()
    _flood(talk, [beat.nonce - 4 - k for k in range(50)], 1000)
    after = talk.beat()
    talk.same("last lease taken", _last_lease(after), _last_lease(beat))


def _never_adds_up(talk: Talk) -> None:
    talk.wake(lease_ms=500)
    talk.move(JOG, 90_000)
    talk.wait(200)
    _flood(talk, [talk.fresh()] * 10, 500)


def _drive_goes_off(talk: Talk) -> None:
    talk.wake()
    talk.do(Clear, 18)
    start = talk.mark
    talk.settled()
    talk.leasing = False
    talk.until(lambda: not talk.pin("drive", talk.beat()), "end of the drive's power", 15_000)
    went = next(b for b in talk.of(Beat, start) if not talk.pin("drive", b))
    rested_ms = _between(went.t_us, went.lease_t_us) / 1000
    # A beat tells it up to 100 ms later.
    talk.near("ms from the last lease to the drive's end:", rested_ms, DRIVE_OFF_MS + 50, 60)
    talk.check(talk.pin("known", went), "position doubtful, though 'drive_hold' says that it stays")


def _nothing_starts(talk: Talk) -> None:
    lapse(talk)
    place = talk.settled().position
    talk.wait(500)
    talk.do(Clear, 18)
    talk.wait(500)
    talk.same("position", talk.settled().position, place)


def _armed_lapses(talk: Talk) -> None:
    talk.wake()
    talk.do(Arm)
    talk.check(talk.pin("armed"), "not armed after 'arm'")
    talk.wait(3100)
    talk.check(not talk.pin("armed"), "armed for more than 3 s")
    talk.refused(46, Fire, talk.fresh())


def _wraps(talk: Talk) -> None:
    """Beats, a move, an event and a lapse while board time passes 2^32."""
    talk.hands.near_wrap()
    talk.forget_limits()
    talk.begin()
    talk.wake()
    talk.check(talk.settled().t_us > 2**31, "board time is not near its end")
    talk.beat()
    start = talk.mark
    talk.move(JOG, 99_000, 4000)
    talk.until(lambda: talk.of(Beat, start)[-1:] != [] and _wrapped(talk, start), "wrap", 20_000)
    talk.wait(700)
    _pace(talk, start, BEAT_MS)
    talk.same("mode", talk.mode(), "moving")
    _lapses_now(talk)
    talk.do(Clear, 18)
    start = talk.mark
    talk.do(Drive, 0)
    talk.check(talk.next(Event, since=start).t_us < 2**31, "an event of before the wrap")


def _wrapped(talk: Talk, start: int) -> bool:
    return talk.of(Beat, start)[-1].t_us < 2**31


def _lapses_now(talk: Talk) -> None:
    start = talk.mark
    talk.leasing = False
    talk.moved(start)
    talk.near("ms since the lease", talk.next(Trip, since=start).value, 500, 3)
    talk.leasing = True


def _stroke(talk: Talk) -> None:
    talk.wake()
    talk.do(Arm)
    start = talk.mark
    talk.do(Fire, talk.fresh())
    talk.ended(start)
    talk.same("phases", [(p.portion, p.phase) for p in talk.of(Phase, start)], [(0, 5), (0, 6)])
    talk.same("position", talk.settled().position, 0)
    talk.refused(46, Fire, talk.fresh())


CASES = (
    Case("beats", "8", "a beat every 100 ms, its number one more each time", _beats),
    Case("held-beats", "8", "every 40 ms while a held jog runs", _held_beats),
    Case("lease-told", "8", "the beat tells the last lease, and when it came", _told),
    Case("stale-lease", "8", "a lease that is not fresh is ignored", _stale),
    Case("lease-lapses", "8", "a move ends 'lease_ms' after the last lease: IL-18", _lease_lapses),
    Case("held-lapses", "8", "a held jog ends 'held_ms' after it", _held_lapses),
    Case("stale-flood", "8", "fifty late renewals extend nothing", _stale_flood),
    Case("no-adding-up", "8", "ten renewals at once are one lease long", _never_adds_up),
    Case("drive-goes-off", "11", "5 s without a lease: the drive goes off", _drive_goes_off),
    Case("nothing-starts", "12", "after a lapse nothing starts again", _nothing_starts),
    Case("arm-lapses", "9", "an armed stroke lapses after 3 s", _armed_lapses),
    Case("dry-stroke", "9", "'arm', 'fire': cut and return, portion 0, once", _stroke),
    Case("clock-wrap", "1", "board time wraps, and nothing is noticed of it", _wraps,
         frozenset({WRAP}), "leave a series or 'benchd status --follow' running for 72 minutes"),
)  # fmt: skip
