"""Events: numbered, held until they are safe, sent again, and told when lost."""

from __future__ import annotations

from protocols.codes import CAUSES
from protocols.limits import RING_EVENTS
from protocols.messages import (
    Beat,
    Bench,
    Boot,
    Drive,
    Ended,
    Event,
    Freed,
    Hello,
    Ignored,
    Lock,
    Lost,
    Run,
    Sample,
    Seen,
    Yes,
)
from tests.firmware.talk import SMALLEST, Talk


def _press(talk: Talk, times: int) -> None:
    """Makes two edges and one ignored press each time."""
    for _ in range(times):
        talk.pin("forward", True)
        talk.run(30)
        talk.pin("forward", False)
        talk.run(30)


def _locked() -> Talk:
    talk = Talk().wake()
    talk.do(Lock, 1)
    talk.run(200)
    return talk


def test_the_first_event_says_why_the_board_started() -> None:
    talk = Talk()
    talk.run(20)
    boot = talk.of(Boot)[0]
    assert (boot.event, CAUSES[boot.cause], boot.boot) == (1, "power", talk.of(Bench)[0].boot)
    talk.board.reset(CAUSES.index("watchdog"))
    talk.run(20)
    again = talk.of(Bench)[-1]
    assert (again.boot, again.cause, again.oldest) == (boot.boot + 1, "watchdog", 1)


def test_boots_are_counted_in_eeprom() -> None:
    talk = Talk()
    talk.run(20)
    first = talk.of(Bench)[0].boot
    for _ in range(300):
        talk.board.reset(CAUSES.index("button"))
        talk.run(5)
    assert talk.of(Bench)[-1].boot == (first + 300) % 65536


def test_numbers_are_gapless_and_each_event_comes_once_when_acknowledged() -> None:
    talk = _locked()
    _press(talk, 20)
    numbers = [m.event for m in talk.heard if isinstance(m, Event)]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len([m for m in talk.heard if isinstance(m, Ignored)]) == 20


def test_events_come_again_from_the_oldest_until_acknowledged() -> None:
    talk = _locked()
    talk.acknowledging = False
    start = len(talk.heard)
    _press(talk, 1)
    talk.run(1000)
    numbers = [m.event for m in talk.heard[start:] if isinstance(m, Event)]
    first = numbers[0]
    assert numbers == [first, first + 1, first + 2] * 4
    times = [m.t_us for m in talk.heard[start:] if isinstance(m, Event)]
    assert times == times[:3] * 4
    talk.say(Seen(first + 1))
    talk.run(700)
    rest = [m.event for m in talk.heard[start:] if isinstance(m, Event)][len(numbers) :]
    assert set(rest) == {first + 2}
    talk.say(Seen(first + 2))
    talk.run(20)
    start = len(talk.heard)
    talk.run(700)
    assert not [m for m in talk.heard[start:] if isinstance(m, Event)]


def test_hello_brings_the_greeting_and_all_events_in_order() -> None:
    talk = _locked()
    talk.acknowledging = False
    _press(talk, 3)
    start = len(talk.heard)
    talk.say(Hello())
    talk.run(60)
    heard = [m for m in talk.heard[start:] if isinstance(m, (Bench, Event))]
    assert isinstance(heard[0], Bench)
    numbers = [m.event for m in heard if isinstance(m, Event)]
    assert numbers == list(range(heard[0].oldest, heard[0].oldest + 9))


def test_acknowledging_what_was_never_sent_forgets_nothing() -> None:
    """Such a number belongs to an earlier life of the board."""
    talk = _locked()
    talk.acknowledging = False
    _press(talk, 1)
    last = talk.of(Event)[-1].event
    talk.say(Seen(last + 1))
    talk.say(Seen(4_294_967_295))
    talk.run(50)
    talk.say(Hello())
    talk.run(50)
    assert talk.of(Bench)[-1].oldest == last - 2


def test_a_full_ring_loses_the_new_ones_and_says_how_many() -> None:
    talk = _locked()
    talk.acknowledging = False
    before = talk.of(Event)[-1].event
    _press(talk, 15)  # 45 events for fewer places
    talk.run(500)
    held = {m.event for m in talk.heard if isinstance(m, Event)}
    assert max(held) == before + RING_EVENTS
    talk.acknowledging = True
    talk.run(1000)
    lost = talk.of(Lost)
    assert [(m.event, m.count) for m in lost] == [(before + 46, 45 - RING_EVENTS)]
    talk.acknowledging = True
    _press(talk, 1)
    assert talk.of(Ignored)[-1].event == before + 48


def test_the_ring_forgets_in_any_portion() -> None:
    """Acknowledged one by one, in the middle, and beyond a gap of lost ones."""
    talk = _locked()
    talk.acknowledging = False
    _press(talk, 12)
    talk.run(400)
    first = min(m.event for m in talk.of(Event) if m.t_us > talk.now_us - 1_600_000)
    talk.say(Seen(first + 9))
    talk.run(30)
    _press(talk, 2)
    talk.run(400)
    numbers = sorted({m.event for m in talk.of(Event)})
    lost = talk.of(Lost)[0]
    gap = [n for n in range(numbers[0], numbers[-1] + 1) if n not in numbers]
    assert gap == list(range(lost.event - lost.count, lost.event))
    talk.say(Seen(lost.event))
    talk.run(30)
    talk.say(Hello())
    talk.run(60)
    assert talk.of(Bench)[-1].oldest == lost.event + 1


def test_a_portion_keeps_room_for_its_own_events() -> None:
    """However often somebody presses a switch meanwhile, nothing of the portion is lost."""
    talk = Talk().wake()
    talk.plan(push=8000, speed=4000)
    talk.run(100)
    talk.acknowledging = False
    talk.start()
    for _ in range(25):
        talk.pin("forward", True)
        talk.eye(True)
        talk.run(30)
        talk.pin("forward", False)
        talk.eye(False)
        talk.run(30)
    talk.until(lambda: bool(talk.of(Ended)), 6000)
    kinds = [type(m).__name__ for m in talk.of(Event) if getattr(m, "portion", 0) == 7]
    assert {"Phase", "Tally", "Extremes", "Ended"} <= set(kinds)
    assert kinds.count("Phase") == 6
    assert kinds.count("Edge") - kinds.count("Ignored") <= 10 + 50
    assert not talk.of(Lost)
    talk.acknowledging = True
    talk.run(1000)
    assert talk.of(Lost)


def test_a_portion_makes_at_most_22_events() -> None:
    talk = Talk().wake(drive_hold=2, release_ms=150)
    talk.plan()
    nonce = talk.beat().nonce
    start = len(talk.heard)
    talk.do(Drive, 1)
    talk.do(Run, 7, 0, nonce)
    for _ in range(8):
        talk.eye(True)
        talk.run(20)
        talk.eye(False)
        talk.run(20)
    talk.ended()
    talk.run(200)
    assert len(talk.of(Event, start)) <= 22


def test_samples_are_dropped_first_and_counted() -> None:
    """With a full ring to send at once, beats and answers still come; samples give way."""
    talk = Talk().wake(sample_ms=10)
    talk.do(Lock, 1)
    talk.acknowledging = False
    _press(talk, 12)
    talk.run(400)
    start = len(talk.heard)
    for _ in range(20):
        talk.say(Hello())
        talk.run(50)
        assert isinstance(talk.ask(Lock, 1), Yes)
    samples = [m.k for m in talk.heard[start:] if isinstance(m, Sample)]
    beats = [m.nonce for m in talk.heard[start:] if isinstance(m, Beat)]
    assert len(samples) < samples[-1] - samples[0] + 1
    assert beats == list(range(beats[0], beats[-1] + 1))
    assert len(beats) >= 10


def test_samples_come_at_their_pace() -> None:
    talk = Talk(*SMALLEST).wake(sample_ms=200, sample_busy_ms=20)
    start = len(talk.heard)
    talk.run(2000)
    assert 9 <= len([m for m in talk.heard[start:] if isinstance(m, Sample)]) <= 11
    talk.move(0, 4000, 2000)
    start = len(talk.heard)
    talk.run(1000)
    assert 48 <= len([m for m in talk.heard[start:] if isinstance(m, Sample)]) <= 51


def test_freed_tells_the_interlock() -> None:
    talk = Talk().wake()
    assert [m.interlock for m in talk.of(Freed)] == [20]
