"""What a person reads of a snapshot: all that matters, in 80 columns of ASCII, no all-clear."""

from __future__ import annotations

import json
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.status import Abnormal, BenchStatus, BrokerStatus, LastPortion, SeriesStatus
from tests.quiet_status import STATUS
from tui import ended, one_line, view

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
    odd=(1, 5),
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


def test_why_a_series_is_paused_is_said_once_and_not_as_if_it_still_were_so() -> None:
    series = SeriesStatus(3, 12, 8.0, None, True, False, "IL-02: Guard open. Shut it.")
    waits = "resume (IL-02: Guard open. Shut it.)"
    status = msgspec.structs.replace(READY, state="PAUSED", waits_for=waits, series=series)
    assert view.state_row(status).text.startswith("PAUSED; waits for resume; bench ")
    assert text(status).count("Guard open") == 1


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


@pytest.mark.parametrize(
    ("mass_kg", "shown"),
    [
        (0.00105, "1.05 g"),
        (0.0318, "31.8 g"),
        (0.03, "30.0 g"),
        (0.0311845, "31.184 g"),
        (None, "-"),
    ],
)
def test_a_single_weight_shows_all_digits(mass_kg: float | None, shown: str) -> None:
    assert view.weighed(mass_kg) == shown


def test_late_beats_of_a_series_are_counted() -> None:
    series = SeriesStatus(3, 20, 8.0, 1.2, False, False, late=1)
    status = msgspec.structs.replace(READY, state="WAITING", series=series)
    assert "next push in 1.2 s; 1 beat late" in text(status)


def test_a_stroke_that_follows_the_weights_is_shown() -> None:
    series = SeriesStatus(
        12, 20, 8.0, 1.2, False, False, stroke_m=0.01253, card_stroke_m=0.0127, adjusted=1
    )
    shown = view.series_row(series).text
    assert "stroke 12.53 mm by the weights, -1.3 % off the card's" in shown
    same = msgspec.structs.replace(series, stroke_m=0.0127, adjusted=0)
    shown = view.series_row(same).text
    assert "stroke 12.70 mm by the weights" in shown
    assert "off the card's" not in shown


def test_what_was_set_by_hand_stands_in_its_own_line() -> None:
    assert "By hand" not in text(READY)
    values: dict[str, float | str] = {
        "air_pa": 1.2e5, "needle_turns": 2.0, "nozzle_m": 0.024, "sleeve": "S3", "other": 7.0
    }  # fmt: skip
    status = msgspec.structs.replace(READY, by_hand=values, group=4)
    assert "By hand   air 1.2 bar, needle 2 turns, nozzle 24 mm, sleeve S3, other 7; group 4" in (
        text(status)
    )


def test_what_was_seen_of_the_last_portion_is_said() -> None:
    last = LastPortion(14, "flagged", "complete", 0.0302, ("thrust rose to 270 N, usual 200 N",))
    status = msgspec.structs.replace(READY, last=last)
    assert "flagged complete, 30.2 g" in " ".join(text(status).split())
    assert "thrust rose to 270 N, usual 200 N" in " ".join(text(status).split())


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
    stands = ", not seen yet" if rank > 1 else ""
    assert f"IL-09 12 s ago{stands}: No dough for 15 mm." in line
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
    assert "treat as loaded" in one_line.status_line(status, 200)


def test_energy_that_nobody_named_counts_as_loaded() -> None:
    status = msgspec.structs.replace(READY, barrel="")
    assert view.energy_row(status).text.startswith("barrel not known: treat as loaded;")


@pytest.mark.parametrize(
    ("changes", "shown"),
    [
        ({"pins": {"guard": True}}, "guard shut"),
        ({"pins": {"guard": False}}, "guard open"),
        ({"state": "NO LINK"}, "guard not known"),
        (
            {"not_watched": ("guard", "thrust")},
            "guard not watched; nobody watches thrust",
        ),
    ],
)
def test_a_consequence_line_says_guard_barrel_and_air(changes: dict[str, Any], shown: str) -> None:
    status = msgspec.structs.replace(READY, **changes)
    assert view.guard_text(status) == shown
    assert view.loaded_text(status) == f"{shown}; barrel 214 N loaded; air 2.0 bar live"


def test_a_doubtful_position_is_not_shown_as_a_number() -> None:
    status = msgspec.structs.replace(READY, position_known=False)
    assert "87" not in view.feed_row(status).text
    assert "benchd here" in view.feed_row(status).text
    # Nothing can be said to a board that gives no word.
    unheard = msgspec.structs.replace(status, state="NO LINK", link_age_s=4.0)
    assert view.feed_row(unheard).text == "position not known, while no word comes from the board"


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
    status = msgspec.structs.replace(
        READY, series=series, abnormals=(GONE,), broker=BrokerStatus(False, 7, 0)
    )
    sent = json.loads(msgspec.json.encode(status))
    assert view.status_lines(view.from_json(sent)) == view.status_lines(status)
    assert one_line.status_line(view.from_json(sent)) == one_line.status_line(status)


def test_one_line_for_following_along() -> None:
    status = msgspec.structs.replace(READY, state="PORTIONING", phase="push", abnormals=(GONE,))
    assert one_line.status_line(status) == (
        "PORTIONING push; !3 STOP IL-09; barrel 214 N loaded; portion 14; feed 87.3 mm"
    )
    later = msgspec.structs.replace(status, link_age_s=0.4)
    assert one_line.status_line(later) == one_line.status_line(status)
    silent = msgspec.structs.replace(status, link_age_s=0.6)
    assert "link 0.6 s" in one_line.status_line(silent)


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
        "phase_s": dict.fromkeys(ended.PHASE_ORDER, 1.25),
        "thrust_n": {"peak": 999.0},
    }
    line = ended.portion_cells(record, 0.0316)
    assert len(ended.PORTION_HEAD) == 79
    assert len(line) <= view.WIDTH
    for head in ("stroke", *ended.PHASE_ORDER):
        end = ended.PORTION_HEAD.index(head) + len(head)
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
    lines = [*view.status_lines(status, width), one_line.status_line(status, width)]
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
