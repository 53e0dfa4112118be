"""The short way of a sample or a beat that finds the bench at rest: most lines by far are these.

What a message changes in readings and times is here, for the short way and the long one alike. The
short way comes to the same as the long one, several times faster; a test holds the two together.
"""

from __future__ import annotations

from msgspec.structs import replace

from benchd.core.clock_map import add_exchange, unwrap
from benchd.core.effects import Effect, Renew
from benchd.core.state import State
from protocols.codes import INTERLOCKS, MODES, PIN
from protocols.limits import NOT_FITTED
from protocols.messages import Beat, BoardMessage, Sample

IDLE_MODES = frozenset({MODES.index("drive-off"), MODES.index("ready"), MODES.index("tripped")})
"""Modes in which nothing moves."""

BOARD_NUMBERS = frozenset(row.number for row in INTERLOCKS if row.place != "daemon")
BACK = 0x8000
"""Sample numbers so far ahead, modulo 65536, are taken for numbers that went back."""

IN_FORCE = 1 << PIN["adopted"]
LOCAL_LOCK = 1 << PIN["local-lock"]
WAITING = 1 << PIN["waiting"]
LOCAL = 1 << PIN["forward"] | 1 << PIN["reverse"]
BOTH_SWITCHES = 1 << 21
"""IL-22 in a mask of interlocks."""


def with_readings(state: State, said: Sample, now_ns: int) -> State:
    """Return the state with the readings of a sample."""
    board = state.board
    ahead = 1 if board.sample_k is None else (said.k - board.sample_k) & 0xFFFF
    # A line that came again, or numbers that begin anew, leave out nothing that is known of. And a
    # single sample gives way to an event by design: only several in a row say that the line is full
    # (one that was damaged on its way counts as a bad line).
    lost = ahead - 1 if 2 < ahead < BACK else 0
    board = replace(
        board,
        position=said.position,
        eye=said.eye,
        thrust=said.thrust,
        air=said.air,
        supply=said.supply,
        sample_k=said.k,
        sample_ns=now_ns,
    )
    if lost:
        lost += state.samples_lost
        return replace(state, board=board, last_word_ns=now_ns, samples_lost=lost)
    return replace(state, board=board, last_word_ns=now_ns)


def air_away(state: State, air_hpa: int) -> bool:
    """Return whether a reading says that air is, or may be, away."""
    if "air" not in state.facts.fitted:
        return False
    return air_hpa == NOT_FITTED or air_hpa < max(state.facts.limits["air_min"] // 2, 1)


def renews(state: State, said: Beat) -> bool:
    """Return whether leave to move goes on: limits in force, and whatever moves is ours.

    A move of an earlier life of the link, or of the daemon, is nobody's and must lapse.
    """
    if state.link != "up" or not said.pins & IN_FORCE:
        return False
    return said.mode in IDLE_MODES or state.job is not None or bool(said.pins & LOCAL)


def rests(state: State, said: Beat) -> bool:
    """Return whether a beat finds the bench at rest, at the same place as the one before."""
    return said.mode in IDLE_MODES and not said.phase and said.position == state.board.position


def with_beat(state: State, said: Beat, now_ns: int) -> State:
    """Return the state with what a beat says of the board, and its exchange of times."""
    before = state.board
    passed_us = (now_ns - before.nonce_ns) // 1000 if before.nonce_ns else 0
    t_us = unwrap(said.t_us, before.t_us + passed_us)
    clock = state.clock
    if said.lease == before.lease_sent and before.lease_sent_ns:
        clock = add_exchange(
            clock,
            t1_ns=before.lease_sent_ns,
            t2_us=unwrap(said.lease_t_us, t_us),
            t3_us=t_us,
            t4_ns=now_ns,
        )
    board = replace(
        before,
        nonce=said.nonce,
        nonce_ns=now_ns,
        t_us=t_us,
        mode=said.mode,
        phase=said.phase,
        portion=said.portion,
        latches=said.latches,
        position=said.position,
        pins=said.pins,
        bad=said.bad,
        rest_ns=(before.rest_ns or now_ns) if rests(state, said) else 0,
        lease_sent=said.nonce,
        lease_sent_ns=now_ns if renews(state, said) else 0,
    )
    return replace(state, board=board, clock=clock, last_word_ns=now_ns)


def shown(said: Beat) -> int:
    """Return the board's latches as a mask, and IL-22, which holds no latch, while both local
    switches are pressed."""
    return said.latches | (BOTH_SWITCHES if said.pins & LOCAL == LOCAL else 0)


def mirrored(state: State) -> int:
    """Return the mask of the board's latches as they stand in the list of interlocks; -1, which is
    no mask, while one of them waits for its trip event."""
    mask = 0
    for number, latch in state.latches.items():
        if not latch.told:
            return -1
        if number in BOARD_NUMBERS:
            mask |= 1 << (number - 1)
    return mask


def short_way(state: State, given: BoardMessage, now_ns: int) -> tuple[State, list[Effect]] | None:
    """Return state and effects of a message that can change nothing but readings and times.

    None when it may do more: something runs or waits, an interlock rests on it, or it is no sample
    and no beat.
    """
    kind = type(given)
    if (kind is not Sample and kind is not Beat) or (
        state.job is not None
        or state.work is not None
        or state.series is not None
        or state.outbox
        or state.pending is not None
        or state.link != "up"
        or 19 in state.latches
    ):
        return None
    if isinstance(given, Sample):
        if not state.dry_needed and air_away(state, given.air):
            return None
        return with_readings(state, given, now_ns), []
    assert isinstance(given, Beat)
    if given.pins & (IN_FORCE | LOCAL_LOCK | WAITING) != IN_FORCE or given.mode not in IDLE_MODES:
        return None
    if shown(given) != mirrored(state) or 30 in state.latches:
        return None
    after = with_beat(state, given, now_ns)
    error_ns = after.clock.error_ns
    if error_ns is not None and error_ns > state.facts.watch.clock_error_ms * 1_000_000:
        return None
    return after, [Renew(given.nonce)]
