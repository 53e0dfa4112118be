"""What each broken board does, and the cases that must see it."""

from __future__ import annotations

from protocols.codes import PIN
from protocols.messages import (
    Beat,
    Bench,
    Edge,
    Event,
    Ignored,
    Lost,
    Message,
    Moved,
    No,
    Phase,
    Sample,
    Tally,
    Trip,
    Yes,
)
from tests.protocols.conform.broken import (
    AddsUp,
    AnswersLeases,
    Blind,
    Bounces,
    Broken,
    Garbles,
    HasWordsOfItsOwn,
    IgnoresCheck,
    InARow,
    KeepsNoAnswer,
    LateEvents,
    LeasesItself,
    Lenient,
    LosesBursts,
    LosesEvents,
    OtherRamps,
    PauseEnds,
    Repeats,
    SaysOnce,
    SkipsBeats,
    StartsAgain,
    StripsBytes,
    TakesTail,
    but,
    hearing,
    nothing,
    on,
    saying,
)


def _nearest(_: Broken, words: list[bytes]) -> list[bytes]:
    return [*words[:3], b"16382"] if words[2:] == [b"1", b"16383"] else words


FLAWS: dict[str, tuple[type[Broken], str]] = {
    "greets twice": (saying(Bench, lambda m: (m, m)), "greets"),
    "forgets the last number": (saying(Bench, but(last_id=0)), "last-number silent unknown"),
    "tells one digest": (saying(Bench, but(digest=1)), "digest boots"),
    "counts no boots": (saying(Bench, but(boot=5)), "boots"),
    "says the drive has power": (
        saying(Beat, on("drive")),
        "boots reset-in-move stop-always drive-goes-off|stop 1 move|stop 1 push|stop 1 settle"
        "|stop 1 cut|stop 1 return|IL-01 move|IL-12 move|reset cut",
    ),
    "knows its position always": (
        saying(Beat, on("known")),
        "boots direction released|stop 1 move|stop 1 push|IL-02 move|IL-05 move|IL-08 move"
        "|IL-14 move",
    ),
    "says limits are in force": (saying(Beat, on("adopted")), "set-ends-force wrong-digest"),
    "stays armed": (saying(Beat, on("armed")), "arm-lapses set-ends-force"),
    "has no latches": (
        saying(Beat, but(latches=0)),
        "boots latched lease-lapses held-lapses cause-stays IL-06 IL-07 clears|IL-18 move"
        "|IL-18 push|IL-18 settle|IL-18 cut|IL-18 return|IL-29 cut|IL-24 push|IL-11 push"
        "|IL-14 soft",
    ),
    "never refuses": (
        saying(No, lambda m: (Yes(m.id, m.taken),)),
        "limit-ranges no-limits wrong-digest one-spelling kept-refusal reused order uses-up range "
        "busy drive-off position not-armed ring stale no-plan latched not-fitted unknown "
        "cause-stays travel conditions nothing-done arm-lapses dry-stroke runs-once waiting "
        "IL-03 IL-04 IL-07 IL-16 IL-17 IL-29 clears|IL-17 push",
    ),
    "takes other limits": (hearing(b"set", _nearest), "limit-bounds"),
    "ignores the check value": (IgnoresCheck, "check-value too-short"),
    "strips strange bytes": (StripsBytes, "wrong-bytes"),
    "takes the tail of a long line": (TakesTail, "too-long"),
    "reads numbers leniently": (Lenient, "one-spelling"),
    "counts no bad lines": (
        saying(Beat, but(bad=0)),
        "check-value wrong-bytes too-short too-long no-number noise bad-stop",
    ),
    "takes a pause for an end": (PauseEnds, "split"),
    "loses bursts": (LosesBursts, "burst"),
    "counts bytes twice": (
        saying(Message, lambda m: but(taken=lambda n: 2 * n % 65536)(m) if hasattr(m, "taken")
               else (m,)),
        "taken burst",
    ),
    "wants its stops spelled well": (
        hearing(b"stop", lambda _, w: w if w[1:] in ([b"0"], [b"1"]) else []),
        "bad-stop",
    ),
    "garbles": (Garbles, "board-lines"),
    "has words of its own": (HasWordsOfItsOwn, "board-lines"),
    "tells no oldest event": (saying(Bench, but(oldest=0)), "hello-events beyond boots"),
    "answers twice": (saying(Yes, lambda m: (m, m)), "answers"),
    "does a repeated command again": (Repeats, "repeat reused order uses-up"),
    "keeps no answer": (KeepsNoAnswer, "repeat kept-refusal reused order"),
    "takes numbers in a row": (InARow, "gap"),
    "answers leases": (AnswersLeases, "silent"),
    "tells another bound": (
        saying(No, but(bound=lambda n: n + 1)), "limit-ranges range uses-up order ring travel"
    ),
    "tells no value": (
        saying(No, but(value=0)), "busy stale no-plan latched not-fitted cause-stays reused"
    ),
    "tells of no ignored switch": (saying(Ignored, nothing), "locked button"),
    "skips beats": (SkipsBeats, "beats held-beats"),
    "tells no time of the lease": (saying(Beat, but(lease_t_us=0)), "lease-told"),
    "accepts stale leases": (
        hearing(b"lease", lambda b, w: [w[0], b"%d" % b.newest]), "stale-lease stale-flood"
    ),
    "leases itself": (
        LeasesItself,
        "lease-lapses held-lapses stale-flood no-adding-up drive-goes-off nothing-starts clock-wrap"
        " latched|IL-18 move|IL-18 push|IL-18 settle|IL-18 cut|IL-18 return",
    ),
    "adds leases up": (AddsUp, "no-adding-up"),
    "starts again": (StartsAgain, "nothing-starts"),
    "has a clock of 31 bits": (
        saying(Message, lambda m: but(t_us=lambda t: t % 2**31)(m) if hasattr(m, "t_us") else (m,)),
        "clock-wrap",
    ),
    "sends no event again": (SaysOnce, "hello-events again until-seen"),
    "loses events": (LosesEvents, "numbered full-ring"),
    "is late with events": (LateEvents, "at-once"),
    "forgets all when some are seen": (
        hearing(b"seen", lambda b, w: [w[0], b"%d" % b.event]), "until-seen beyond"
    ),
    "tells of no lost events": (saying(Lost, nothing), "full-ring"),
    "makes events of bounces": (Bounces, "bounces"),
    "counts a step too many": (
        saying(Moved, but(position=lambda n: n + 1)),
        "moves|stop 0 move|stop 1 move|IL-18 move|IL-01 move|IL-02 move",
    ),
    "tells the same reason for each end": (
        saying(Moved, but(reason=0)),
        "ends-early local|stop 0 move|IL-18 move|IL-14 soft|IL-11 ease",
    ),
    "tells of moves late": (
        saying(Moved, but(t_us=lambda t: (t + 100_000) % 2**32)),
        "trapezoid|stop 0 move|stop 1 move|IL-18 move|IL-05 move|IL-14 move|IL-22 move|IL-12 move",
    ),
    "leaves out phases": (
        saying(Phase, nothing),
        "dry-stroke portion phase-times still IL-06",
    ),
    "tells another tally": (saying(Tally, but(made=lambda n: n - 1)), "portion"),
    "cuts too soon": (
        saying(Phase, lambda m: but(t_us=lambda t: t - 50_000 * (m.phase == 5))(m)),
        "phase-times still",
    ),
    "tells of no valve": (
        saying(Edge, lambda m: () if m.signal == PIN["valve"] else (m,)),
        "valve-events|stop 0 cut|stop 1 cut|IL-18 cut|IL-01 cut|IL-02 cut|IL-29 cut",
    ),
    "reads what is not there": (saying(Sample, but(thrust=0)), "not-fitted-pins"),
    "drops samples": (saying(Sample, lambda m: (m,) if m.k % 2 else ()), "samples"),
    "waits for no button": (hearing(b"run", lambda _, w: [*w[:3], b"0", *w[4:]]), "button waiting"),
    "takes one stop for the other": (
        hearing(b"stop", lambda _, w: [b"stop", b"1" if w[1:] == [b"0"] else b"0"]),
        "stop 0 move|stop 0 push|stop 0 settle|stop 0 cut|stop 0 return|stop 1 move|stop 1 push"
        "|stop 1 settle|stop 1 cut|stop 1 return|stop-always|position",
    ),
    "has ramps of its own": (
        OtherRamps,
        "trapezoid|stop 0 move|stop 0 push|IL-18 move|IL-18 push|IL-11 move|IL-22 move|IL-24 push"
        "|IL-11 ease",
    ),
    "tells of no trips": (
        saying(Trip, nothing),
        "lease-lapses stale-flood IL-06 IL-07 IL-09|IL-24 valve|IL-24 push|IL-11 ease|IL-22 move",
    ),
    "tells no end": (saying(Event, lambda m: () if m.tag == "ended" else (m,)), "runs-once"),
    "looks at no input": (
        Blind,
        "cause-stays locked both-locals bounces button ready drop local ends-early "
        "IL-07 IL-09 IL-16 IL-17 "
        "IL-29|IL-17 push"
        "|IL-11 ease|IL-01 move|IL-01 push|IL-01 settle|IL-01 cut|IL-01 return|IL-02 move"
        "|IL-02 push|IL-02 settle|IL-02 cut|IL-02 return|IL-05 move|IL-05 push|IL-08 move"
        "|IL-08 push|IL-08 settle|IL-08 cut|IL-11 move|IL-11 push|IL-16 settle"
        "|IL-12 move|IL-12 push|IL-14 move|IL-14 push|IL-14 soft|IL-22 move|IL-22 push|IL-29 cut",
    ),
}  # fmt: skip
"""What is broken, the board that is, and the cases that must see it: words, or names between bars.
"""


def cases_of(told: str) -> list[str]:
    """The names in a text of FLAWS."""
    first, *named = told.split("|")
    names = [first] if first.startswith(("stop ", "IL-01 ", "IL-18 ")) else first.split()
    return [*names, *named]
