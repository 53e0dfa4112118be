"""Lines, good and damaged, and the window: SPEC.md, sections 2 and 6."""

from __future__ import annotations

from protocols.conform.case import Case
from protocols.conform.talk import Talk
from protocols.framing import frame
from protocols.limits import LINE_BYTES_MAX
from protocols.messages import Beat, Drive, Lock, No, Yes

_NOISE_LINES = 20


def _dropped(talk: Talk, *lines: bytes) -> None:
    """Send lines that the board must drop and count, each."""
    talk.do(Lock, 0)
    bad = talk.settled().bad
    for line in lines:
        start = talk.mark
        talk.raw(line)
        after = talk.settled()
        shown = ascii(line[:40])
        talk.same(f"{shown}: lines counted as bad", (after.bad - bad) % 65536, 1)
        bad = after.bad
        talk.same(f"{shown}: answers", talk.answers(start), [])
        talk.check(not talk.pin("local-lock", after), f"{shown} was obeyed")


def _next_lock(talk: Talk) -> bytes:
    return frame(f"lock {talk.last_id + 2} 1".encode())[:-1]


def _check_values(talk: Talk) -> None:
    good = _next_lock(talk)
    other = b"0" if good[-1:] != b"0" else b"1"
    body = good[:-5]
    lower = b"%b %b\n" % (body, good[-4:].lower())
    # The number after this one has a check value with a letter, sooner or later.
    spelled = [] if lower == good + b"\n" else [lower]
    _dropped(talk, good[:-1] + other + b"\n", body + b"\n", body + b" 0000\n", *spelled)


def _wrong_bytes(talk: Talk) -> None:
    good = _next_lock(talk)
    _dropped(
        talk, good + b"\r\n", b"\x00" + good + b"\n", b"\xff" + good + b"\n",
        good.replace(b" ", b"\t", 1) + b"\n", frame(b"hello")[:-1] + b"\x7f\n",
    )  # fmt: skip


def _too_short(talk: Talk) -> None:
    _dropped(talk, b"\n", b"29B1\n", b" FFFF\n", b"lock 1 1\n")


def _too_long(talk: Talk) -> None:
    inside = _next_lock(talk)
    _dropped(talk, b"x" * LINE_BYTES_MAX + inside + b"\n", b"x" * 300 + inside + b"\n")
    talk.do(Lock, 1)
    talk.check(talk.pin("local-lock"), "the line after an over-long one was not obeyed")


def _one_spelling(talk: Talk) -> None:
    for number, spelled in enumerate(("01", "+1", "-0", "1 ", " 1", "1.0", "0x1", "1 1", "", "x")):
        talk.last_id += 1
        answer = talk.ask_body(f"lock {talk.last_id} {spelled}".encode())
        talk.is_no(answer, 41)
        talk.same("an answer to number", answer.id, talk.last_id)
        talk.check(not talk.pin("local-lock"), f"spelling {number}, '{spelled}', was obeyed")


def _no_number(talk: Talk) -> None:
    _dropped(
        talk, frame(b"lock x 1"), frame(b"lock 0 1"), frame(b"lock"), frame(b"dance x"),
        frame(b"lease x"), frame(b"seen -1"), frame(b"hello 1"), frame(b"LOCK"),
    )  # fmt: skip


def _noise(talk: Talk) -> None:
    before = talk.settled()
    seed = 12345
    for _ in range(_NOISE_LINES):
        line = bytearray()
        for _ in range(40):
            # Numbers of a full-period generator, the same in every run.
            seed = (seed * 1_103_515_245 + 12_345) % 2**31
            line.append(seed >> 16 & 0xFF)
        talk.raw(bytes(line).replace(b"\n", b"\0") + b"\n")
        talk.beat()
    after = talk.settled()
    talk.same("lines counted as bad", (after.bad - before.bad) % 65536, _NOISE_LINES)
    shown = [(b.mode, b.latches, b.pins, b.position) for b in (before, after)]
    talk.same("state after noise", shown[1], shown[0])
    talk.do(Lock, 0)


def _split(talk: Talk) -> None:
    talk.last_id += 1
    line = frame(f"lock {talk.last_id} 1".encode())
    start = talk.mark
    with talk.alone():
        for at in range(len(line)):
            talk.same("answers to a line not yet whole", talk.answers(start), [])
            talk.peer.send(line[at : at + 1])
            talk.listen(5)
    talk.next(Yes, since=start)


def _burst(talk: Talk) -> None:
    talk.leasing = talk.acknowledging = False
    number, before = talk.last_id + 1, talk.settled()
    lines = frame(f"lock {number} 1".encode()) + frame(b"lease 9") + frame(b"seen 0")
    burst = lines[:48] + frame(b"stop 0")
    talk.check(len(lines) <= 48, f"a burst of {len(burst)} bytes")
    start = talk.mark
    talk.peer.send(burst)
    talk.same("an answer to number", talk.next(Yes, since=start).id, number)
    after = talk.settled()
    talk.same("lines counted as bad", after.bad, before.bad)
    talk.same("bytes taken", (after.taken - before.taken) % 65536, len(burst))
    talk.last_id = number


def _taken(talk: Talk) -> None:
    talk.leasing = talk.acknowledging = False
    before = talk.settled().taken
    lines = frame(b"seen 0") + b"rubbish\n" + frame(b"lease 0")
    talk.peer.send(lines)
    talk.same("bytes taken", (talk.settled().taken - before) % 65536, len(lines))
    answer = talk.ask(Lock, 0)
    lines += frame(f"lock {answer.id} 0".encode())
    talk.same("bytes taken, in 'yes'", (answer.taken - before) % 65536, len(lines))
    talk.last_id += 1
    refused = talk.ask_body(f"lock {talk.last_id} 2".encode())
    talk.check(isinstance(refused, No))
    lines += frame(f"lock {refused.id} 2".encode())
    talk.same("bytes taken, in 'no'", (refused.taken - before) % 65536, len(lines))


def _bad_stop(talk: Talk) -> None:
    talk.wake()
    for word in (b"stop 9", b"stop", b"stop x"):
        bad = talk.settled().bad
        talk.move(0, 50_000)
        talk.wait(200)
        start = talk.mark
        talk.raw(frame(word))
        talk.same(f"'{word.decode()}': ending", talk.moved(start).reason, 1)
        beat: Beat = talk.settled()
        talk.same("lines counted as bad", (beat.bad - bad) % 65536, 1)
        talk.check(talk.pin("drive", beat), "the drive went off, as with 'stop' 1")


def _board_lines(talk: Talk) -> None:
    talk.do(Drive, 0)
    talk.same("lines that SPEC.md does not know", talk.strange[:3], [])


CASES = (
    Case("check-value", "2", "a wrong or missing check value: dropped, counted", _check_values),
    Case("wrong-bytes", "2", "bytes outside 0x20 to 0x7E, CR too: dropped, counted", _wrong_bytes),
    Case("too-short", "2", "a line too short: dropped, counted", _too_short),
    Case("too-long", "2", "an over-long line goes whole, up to its newline", _too_long),
    Case("one-spelling", "2", "a number has one spelling; others are refused, 41", _one_spelling),
    Case("no-number", "6", "wrong fields and no number to answer: counted", _no_number),
    Case("noise", "2", "line noise is counted and changes nothing", _noise),
    Case("split", "2", "a line that comes byte by byte is one line", _split),
    Case("burst", "6", "60 bytes in one go are all taken", _burst),
    Case("taken", "6", "'taken' counts every byte, rubbish too", _taken),
    Case("bad-stop", "2", "a 'stop' whose level cannot be read stops as 'stop' 0", _bad_stop),
)  # fmt: skip

LAST = (
    Case("board-lines", "2", "every line of the board until now was sound", _board_lines),
)  # fmt: skip
