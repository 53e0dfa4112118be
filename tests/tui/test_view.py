"""What a person reads of a snapshot: all that matters, in 80 columns of ASCII, no all-clear."""

from __future__ import annotations

import json

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.status import Abnormal, BenchStatus, BrokerStatus, LastPortion, SeriesStatus
from tests.quiet_status import STATUS
from tui import view

GONE = Abnormal(
    code="IL-09",
    rank=3,
    what="No dough for 15 mm.",
    so_what="The series is paused.",
    do_what="Look at the nozzle, then clear IL-09.",
    since_ns=1_000_000_000,
    latched=True,
    reset="ack",
)

READY = msgspec.structs.replace(
    STATUS,
    phase="none",
    barrel="214 N loaded",
    position_m=0.0873,
    tube_left_m=0.112,
    aim_kg=0.030,
    portion=14,
    last=LastPortion(14, "normal", "complete", 0.0302),
    unweighed=(12, 13),
    mean_kg=0.03005,
    n_weighed=11,
    thrust_n=214.4,
    air_pa=2.0e5,
    supply_v=5.01,
    link_age_s=0.1,
    board="host 0.1.0 boot 3",
    clock_error_s=0.0004,
    journal="maize-1",
    now_ns=13_000_000_000,
)

FORBIDDEN = ("safe", "may open", "you can reach", "hands in", "ok to", "clear to")


def text(status: BenchStatus) -> str:
    return "\n".join(view.status_lines(status))


def test_a_bench_at_rest() -> None:
    assert view.status_lines(READY) == [
        "READY; bench maize; link 0.1 s",
        "ENERGY    barrel 214 N loaded; air 2.0 bar live; coils drive live, valve off",
        "Portion   14; aim 30.0 g; last: 14 normal complete, 30.2 g +0.7 %",
        "Weights   mean 30.1 g of 11 weighed; not weighed: 12, 13",
        "Tube      T7; dough masa; 112 mm left; about 9 portions",
        "Feed      at 87.3 mm",
        "Eye       640 counts, dough; taught 120/640",
        "Journal   maize-1",
        "Board     host 0.1.0 boot 3; supply 5.01 V; times within 0.4 ms",
    ]


def test_a_series_with_its_countdown() -> None:
    series = SeriesStatus(
        made=3, count=20, every_s=8.0, next_in_s=1.24, paused=False, finishing=False
    )
    status = msgspec.structs.replace(
        READY, state="WAITING", waits_for="the next beat", series=series
    )
    assert "WAITING; waits for the next beat" in text(status)
    assert "in this series" not in text(status)  # The fourth has not begun.
    under_way = msgspec.structs.replace(status, state="PORTIONING", portion=15)
    assert "15 (portion 4 of 20 in this series)" in text(under_way)
    assert "Series    3 of 20, one every 8.0 s; next push in 1.2 s" in text(status)


def test_a_paused_series_says_why() -> None:
    series = SeriesStatus(
        made=3, count=None, every_s=8.0, next_in_s=None, paused=True, finishing=False,
        pause_reason="nobody attends",
    )  # fmt: skip
    status = msgspec.structs.replace(READY, state="PAUSED", series=series)
    assert "3 until the end of the tube, one every 8.0 s; PAUSED: nobody attends" in text(status)


@pytest.mark.parametrize(("rank", "word"), [(3, "!3 STOP"), (2, "!2 WATCH"), (1, "!1 NOTE")])
def test_rank_is_a_sign_and_a_word(rank: int, word: str) -> None:
    status = msgspec.structs.replace(READY, abnormals=(msgspec.structs.replace(GONE, rank=rank),))
    lines = view.status_lines(status)
    line = next(line for line in lines if line.startswith(word))
    assert "IL-09 12.0 s ago: No dough for 15 mm." in line
    assert "Look at the nozzle" in " ".join(text(status).split())


def test_what_nobody_watches_stands_near_the_top() -> None:
    status = msgspec.structs.replace(READY, not_watched=("guard", "cutter home", "cutter far end"))
    assert view.status_lines(status)[2] == ("NOT WATCHED: guard, cutter home, cutter far end")


@pytest.mark.parametrize("age_s", [None, 0.51, 30.0])
def test_old_values_count_as_loaded(age_s: float | None) -> None:
    status = msgspec.structs.replace(
        READY, link_age_s=age_s, barrel="2 N low", air="off", coils="off"
    )
    assert "VALUES ARE OLD" in text(status)
    energy = view.energy_row(status).text
    assert energy == (
        "barrel not known: treat as loaded; air not known: treat as live; "
        "coils not known: treat as live"
    )
    assert "NOT WATCHED: anything, while no word comes from the board" in text(status)
    assert "low" not in energy
    assert "2 N" not in energy
    assert "treat as loaded" in view.status_line(status, 200)


def test_energy_that_nobody_named_counts_as_loaded() -> None:
    status = msgspec.structs.replace(READY, barrel="")
    assert view.energy_row(status).text.startswith("barrel not known: treat as loaded;")


def test_a_doubtful_position_is_not_shown_as_a_number() -> None:
    status = msgspec.structs.replace(READY, position_known=False)
    assert "87" not in view.feed_row(status).text
    assert "benchd here" in view.feed_row(status).text


def test_a_journal_that_cannot_be_written_is_said() -> None:
    assert "CANNOT BE WRITTEN" in text(msgspec.structs.replace(READY, journal_ok=False))


def test_nothing_says_that_a_hand_may_go_in() -> None:
    for state in ("NOT COMMISSIONED", "DRIVE OFF", "READY", "PAUSED", "TRIPPED", "NO LINK"):
        low = msgspec.structs.replace(
            READY, state=state, barrel="low", air="off", coils="off", abnormals=(GONE,)
        )
        shown = text(low).lower()
        assert not [words for words in FORBIDDEN if words in shown]


def test_from_json_reads_what_the_daemon_sends() -> None:
    series = SeriesStatus(
        made=3, count=20, every_s=8.0, next_in_s=None, paused=False, finishing=True
    )
    status = msgspec.structs.replace(READY, series=series, abnormals=(GONE,))
    sent = json.loads(msgspec.json.encode(status))
    assert view.status_lines(view.from_json(sent)) == view.status_lines(status)
    assert view.status_line(view.from_json(sent)) == view.status_line(status)


def test_one_line_for_following_along() -> None:
    status = msgspec.structs.replace(READY, state="PORTIONING", phase="push", abnormals=(GONE,))
    assert view.status_line(status) == (
        "PORTIONING push; !3 STOP IL-09; barrel 214 N loaded; portion 14; feed 87.3 mm"
    )
    later = msgspec.structs.replace(status, link_age_s=0.4)
    assert view.status_line(later) == view.status_line(status)
    silent = msgspec.structs.replace(status, link_age_s=0.6)
    assert "link 0.6 s" in view.status_line(silent)


def test_a_single_one_is_not_several() -> None:
    status = msgspec.structs.replace(READY, tube_left_portions=1, lines_bad=1, samples_lost=1)
    assert "about 1 portion\n" in text(status)
    assert "1 bad line; 1 sample lost;" in " ".join(text(status).split())
    status = msgspec.structs.replace(READY, lines_bad=2, samples_lost=2)
    assert "2 bad lines; 2 samples lost;" in " ".join(text(status).split())


def test_nobody_is_sent_to_weigh_what_was_not_completed() -> None:
    for outcome, said in (("complete", True), ("stopped", False), ("tripped", False)):
        last = LastPortion(14, "normal", outcome, None)
        status = msgspec.structs.replace(READY, last=last)
        assert ("not weighed" in view.portion_row(status).text) == said


def test_an_eye_that_was_never_taught_sees_nothing_and_says_so() -> None:
    status = msgspec.structs.replace(READY, eye_taught=None)
    assert "640 counts, dough; by the card's levels, not taught" in text(status)
    status = msgspec.structs.replace(READY, eye_taught=None, eye_sees=None)
    assert "640 counts, not known; not taught: 'benchd eye --empty'" in text(status)


def test_signs_of_our_own_sentences_are_spelled() -> None:
    assert view.plain("Times uncertain by \u00b18 ms.") == "Times uncertain by +-8 ms."


def test_a_table_of_portions_fits_its_columns() -> None:
    record = {
        "number": 123,
        "class": "after-pause",
        "outcome": "complete",
        "asked_m": {"push": 0.0127},
        "phase_s": dict.fromkeys(view.PHASE_ORDER, 1.25),
        "thrust_n": {"peak": 999.0},
    }
    line = view.portion_cells(record, 0.0316)
    assert len(view.PORTION_HEAD) == 79
    assert len(line) <= view.WIDTH
    for head in ("stroke", *view.PHASE_ORDER):
        end = view.PORTION_HEAD.index(head) + len(head)
        assert line[end - 1] != " "
        assert line[end] == " "


@pytest.mark.slow
@given(
    name=st.text(max_size=200),
    width=st.integers(40, 120),
    position=st.floats(-10, 10),
    age=st.floats(0, 1e6),
)
def test_whatever_was_typed_the_lines_stay_ascii_and_within_their_width(
    name: str, width: int, position: float, age: float
) -> None:
    status = msgspec.structs.replace(
        READY,
        bench=name,
        tube=name,
        waits_for=name,
        controller=name,
        position_m=position,
        link_age_s=age,
        abnormals=(msgspec.structs.replace(GONE, what=name),),
    )
    lines = [*view.status_lines(status, width), view.status_line(status, width)]
    assert all(line.isascii() and line.isprintable() and len(line) <= width for line in lines)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.04, "0.0 s"),
        (1.26, "1.3 s"),
        (99.9, "99.9 s"),
        (130, "2 min"),
        (7200, "2.0 h"),
        (None, "-"),
    ],
)
def test_times(value: float | None, shown: str) -> None:
    assert view.seconds(value) == shown


@pytest.mark.parametrize(
    ("broker", "text"),
    [
        (BrokerStatus(True, 3, 0), "connected"),
        (BrokerStatus(False, 0, 0), "not connected yet"),
        (BrokerStatus(False, 7, 0, "It refuses us."), "It refuses us; 7 records wait"),
        (
            BrokerStatus(True, 0, 2),
            "connected; 2 records were dropped, the journal has them",
        ),
    ],
)
def test_a_broker_is_shown_only_when_the_card_names_one(broker: BrokerStatus, text: str) -> None:
    assert view.broker_text(broker) == text
    shown = view.status_lines(msgspec.structs.replace(READY, broker=broker))
    assert any(line.startswith("Broker") and text[:20] in line for line in shown)
    assert not any(line.startswith("Broker") for line in view.status_lines(READY))


@pytest.mark.parametrize("width", range(40, 81))
def test_no_number_is_parted_from_its_unit(width: int) -> None:
    lines = view.status_lines(READY, width)
    begins = {line.strip().split(" ", 1)[0].rstrip(".;,") for line in lines}
    assert not begins & {"mm", "g", "N", "s", "ms", "bar", "V", "%", "counts"}
    assert " ".join(" ".join(lines).split()) == " ".join(text(READY).split())
