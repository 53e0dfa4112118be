"""The first instructions of the machine code, what its memory says of the inputs, and its sleep."""

from __future__ import annotations

import pytest

from protocols.codes import CAUSES, PIN
from protocols.framing import frame
from protocols.messages import Beat, Move, Sample, Trip
from protocols.pins import CONTACT, OUTPUT, PORTS, of_kind, on_ports
from sim.avr import memory
from sim.avr.board import MCUSR, AvrBoard
from sim.board import SAFE_PINS
from sim.machine import STOP_OUTPUT
from tests.sim.avr.avr_talk import AvrTalk
from tests.sim.avr.test_board import booted, messages

DDR = {"B": 0x24, "C": 0x27, "D": 0x2A}
PORT = {"B": 0x25, "C": 0x28, "D": 0x2B}
"""Registers of the chip in its data memory (data sheet of the ATmega328P, register summary)."""

OUTPUTS = on_ports(of_kind(OUTPUT))
LOW_CYCLES, DRIVEN_CYCLES = 10, 16
"""The jump to the program's start takes 3; then come cli, a load, and each port in one cycle."""


def driven_high(board: AvrBoard) -> dict[str, int]:
    """The bits of each port that the chip drives high, step apart: no step is made here."""
    return {port: board.ram(DDR[port]) & board.ram(PORT[port]) for port in PORTS}


@pytest.mark.parametrize("start", ["power", "reset", "boot loader"])
def test_outputs_are_low_from_the_first_instructions(start: str) -> None:
    """At power-up and reset the chip itself lets go of all pins, which stays so until they are
    driven low; what a boot loader left high goes with the very first instructions."""
    board = AvrBoard()
    board.set_inputs(SAFE_PINS)
    begin = 0
    if start != "power":
        board.run_until(30_000)
        if start == "reset":
            board.reset(CAUSES.index("button"))
        else:
            board.leave_loader(0)
            assert driven_high(board) == dict.fromkeys(PORTS, 0xFF)
        begin = board.cycle
    none = dict.fromkeys(PORTS, 0)
    while board.cycle < begin + 1000:
        since = board.cycle - begin
        high = driven_high(board)
        assert high == none or (start == "boot loader" and since < LOW_CYCLES), since
        if since >= DRIVEN_CYCLES:
            assert {port: board.ram(DDR[port]) for port in PORTS} == OUTPUTS, since
        board.run_until_cycle(board.cycle + 1)
    board.edges()
    assert board.run_for(60_000, stop=STOP_OUTPUT) == 60_000
    assert driven_high(board) == none


@pytest.mark.parametrize("cause", range(len(CAUSES)), ids=CAUSES)
def test_a_boot_loader_hands_on_why_the_chip_started(cause: int) -> None:
    board = AvrBoard()
    board.run_until(30_000)
    board.tx()
    board.leave_loader(MCUSR[cause])
    board.run_for(30_000, stop=0)
    assert booted(board.tx()).cause == CAUSES[cause]


def test_what_no_boot_loader_would_hand_on_is_an_unknown_start() -> None:
    board = AvrBoard()
    board.run_until(30_000)
    board.tx()
    board.leave_loader(0xA5)
    board.run_for(30_000, stop=0)
    assert booted(board.tx()).cause == "unknown"


# What the memory says of the inputs.


class Stored(AvrTalk):
    """A board, everything fitted, whose memory holds these copies."""

    def __init__(self, *copies: bytes) -> None:
        self._copies = copies
        super().__init__(sample_ms=20)
        self.run(20)
        self.load()

    def power_up(self, board_us: int) -> AvrBoard:
        return AvrBoard(stored=memory.image(*self._copies))

    def shown(self, pins: int) -> int:
        """The contacts as the beat tells them, of contacts closed as in `pins`."""
        self.board.set_inputs(pins, (100, 102, 286))
        self.beat()
        return self.beat().pins & 0xFF


def bits(*names: str) -> int:
    return sum(1 << PIN[name] for name in names)


def pulled_up(board: AvrBoard) -> dict[str, int]:
    contacts = on_ports(of_kind(CONTACT))
    return {port: board.ram(PORT[port]) & contacts[port] for port in PORTS}


@pytest.mark.slow
def test_contacts_can_be_turned_round_but_those_that_stop() -> None:
    """A record that would turn guard, stop and ends round is not believed in that."""
    talk = Stored(memory.record(flipped=0xFF))
    keeps = bits("guard", "stop", "ends")
    for closed in (0x00, 0xFF, SAFE_PINS & 0xFF, bits("far"), keeps):
        assert talk.shown(closed) == (closed & keeps) | (~closed & 0xFF & ~keeps)
    talk.board.set_inputs(keeps & ~bits("guard"))
    talk.run(50)
    assert 2 in [trip.interlock for trip in talk.of(Trip)]


def test_pull_ups_are_on_but_where_the_memory_forbids_them() -> None:
    contacts = on_ports(of_kind(CONTACT))
    assert pulled_up(Stored().board) == contacts
    bare = pulled_up(Stored(memory.record(bare=bits("home", "button"))).board)
    assert bare == {**contacts, "D": contacts["D"] & ~(1 << 4), "C": contacts["C"] & ~(1 << 4)}
    # Where a wire that is off must stop, the pull-up stays: guard, stop and ends are D2, D3, D6.
    assert pulled_up(Stored(memory.record(bare=0xFF)).board)["D"] == 1 << 2 | 1 << 3 | 1 << 6


@pytest.mark.parametrize(("offset_mv", "counts_as_mv"), [(0, 0), (50, 50), (-100, -100), (101, 0)])
def test_the_chips_reference_can_be_put_right(offset_mv: int, counts_as_mv: int) -> None:
    """The data sheet gives it 1.0 to 1.2 V; what is further off is no record of it."""
    talk = Stored(memory.record(bandgap_mv=offset_mv))
    talk.run(50)
    read = talk.of(Sample)[-1].supply
    assert read == (1100 + counts_as_mv) * 1024 // (1100 * 1023 // 5000)


@pytest.mark.parametrize("spoil", range(8))
def test_a_spoilt_memory_is_a_blank_one(spoil: int) -> None:
    whole = bytearray(memory.record(flipped=bits("far"), bare=0xFF, bandgap_mv=90))
    whole[spoil] ^= 0x10
    talk = Stored(bytes(whole), b"\0" * 8)
    assert pulled_up(talk.board) == on_ports(of_kind(CONTACT))
    assert talk.shown(SAFE_PINS) == SAFE_PINS & 0xFF
    assert talk.of(Sample)[-1].supply == 1100 * 1024 // (1100 * 1023 // 5000)


@pytest.mark.slow
def test_the_memory_is_written_at_the_start_alone_and_keeps_what_it_says() -> None:
    record = memory.record(3, boot=8, flipped=bits("button"), bare=bits("far"), bandgap_mv=-7)
    talk = Stored(record)
    stored = talk.board.stored()
    copies = [stored[at : at + 8] for at in memory.PLACES]
    said = {"flipped": bits("button"), "bare": bits("far"), "bandgap_mv": -7}
    assert copies == [record, memory.record(4, boot=9, **said)]
    talk.wake()
    talk.do(Move, 0, 500, 2000, talk.nonce)
    talk.moved()
    talk.run(150)
    talk.dry_stroke()
    assert talk.board.stored() == stored


# Sleep.


def test_it_sleeps_while_there_is_nothing_to_do() -> None:
    board = AvrBoard()
    board.set_inputs(SAFE_PINS)
    board.run_until(200_000)
    start, slept = board.cycle, board.asleep_cycles
    board.run_for(500_000, stop=0)
    assert board.asleep_cycles - slept > 0.6 * (board.cycle - start)
    assert sum(isinstance(message, Beat) for message in messages(board.tx())) >= 5


def test_a_byte_wakes_it() -> None:
    """It is taken when it is whole, and not when something else wakes the chip."""
    board = AvrBoard()
    board.set_inputs(SAFE_PINS)
    board.run_until(150_000)
    asleep = 0
    for _ in range(20):
        board.rx(frame(b"hello")[:1])
        board.run_until_cycle(board.cycle + board.byte_cycles)
        slept = board.asleep_cycles
        board.run_until_cycle(board.cycle + 100)
        # The interrupt that takes a byte lasts 100 cycles and more.
        assert board.asleep_cycles - slept < 10
        slept = board.asleep_cycles
        board.run_until_cycle(board.cycle + 1000)
        asleep += board.asleep_cycles - slept > 300
    assert asleep > 10
