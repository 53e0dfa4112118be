"""A portion drawn as lanes."""

from __future__ import annotations

from typing import Any

import pytest

from tui import lanes


def portion(**changes: Any) -> dict[str, Any]:
    """One of 1 s with a reading every 0.1 s, its push from 0.2 s and its cut from 0.7 s on."""
    t_s = [n / 10 for n in range(11)]
    rising = [float(n) for n in range(11)]
    told: dict[str, Any] = {
        "t_s": t_s,
        "lanes": {
            "feed_m": [n / 1000 for n in rising],
            "thrust_n": [100.0 + 10 * n for n in rising],
            "eye": [600.0] * 11,
            "air_pa": [None] * 11,
            "supply_v": [5.0] * 9 + [4.5, 5.0],
        },
        "phases": [[0.0, "take-up"], [0.2, "push"], [0.7, "cut"]],
        "edges": [[0.3, "dough", 1], [0.7, "valve", 1], [0.8, "far", 1], [0.9, "valve", 0]],
        "events": [[0.0, "take-up begins"], [0.2, "push begins"], [1.0, "ended, complete"]],
        "link": [],
        "good": [1, 2],
        "at_s": {"push": 0.2, "cut": 0.7},
        "band": {"push": None, "cut": None},
        "levels": {"eye": None},
    }
    return told | changes


def band(low: float, high: float, lane: str = "thrust_n") -> dict[str, Any]:
    empty = {name: [None] * 11 for name in lanes.LANES}
    push = {"from_s": 0.0, "step_s": 0.1} | empty | {lane: [[low, high]] * 11}
    return {"push": push, "cut": None}


def drawn(told: dict[str, Any], cursor_s: float = 0.2, *, near: bool = False) -> dict[str, str]:
    view = lanes.window(told, "push", cursor_s, 80, near=near)
    found = [line.text for line in lanes.lines(told, view)]
    assert max(map(len, found)) <= 80
    return {text[: lanes.LABEL].strip(): text[lanes.LABEL :] for text in found}


def signs(text: str) -> str:
    return text[: 80 - lanes.LABEL - lanes.AT_CURSOR]


def test_a_rising_reading_rises_and_says_its_value_at_the_cursor() -> None:
    rows = drawn(portion(), 0.5)
    thrust = signs(rows["Thrust"])
    assert list(thrust) == sorted(thrust)
    assert (thrust[0], thrust[-1]) == ("0", "9")
    assert rows["Thrust"].endswith(" 150 N")
    assert rows["Feed"].endswith(" 5.0 mm")
    assert rows["Phase"].endswith(" push")
    assert rows["Time"].endswith(" +0.300 s")


def test_what_leaves_the_band_is_marked_on_its_side() -> None:
    above, below, inside = (
        signs(drawn(portion(band=band(*pair)))["Thrust"])
        for pair in ((0.0, 120.0), (180.0, 300.0), (0.0, 300.0))
    )
    assert "v" not in above
    # Readings from 130 N on lie more than 5 % of the lane's 100 N above 120 N: the last 70 %.
    assert above.count("^") == pytest.approx(0.7 * len(above), abs=2)
    assert "^" not in below
    # Those up to 170 N lie as far below 180 N: the first 80 %.
    assert below.count("v") == pytest.approx(0.8 * len(below), abs=2)
    assert not set(inside) & set("^v")
    assert drawn(portion(band=band(0.0, 120.0)))["Thrust"].endswith(" 120 N (0..120)")


def test_the_supply_has_a_lane_of_its_own() -> None:
    supply = drawn(portion(), 0.9)["Supply"]
    assert supply.endswith(" 4.50 V")
    assert set(signs(supply)) == {"0", "9"}


def test_a_steady_reading_stays_steady() -> None:
    noisy = portion()
    noisy["lanes"]["eye"] = [600.0, 604.0] * 5 + [600.0]
    assert set(signs(drawn(noisy)["Eye"])) == {"0"}


def test_the_levels_that_the_eye_was_taught_are_the_ends_of_its_lane() -> None:
    taught = {"eye": [100.0, 1100.0]}
    row = drawn(portion(levels=taught))["Eye"]
    assert set(signs(row)) == {"5"}, "600 of 100 to 1100"
    assert row.endswith(" 600 100/1100")
    # What stands at the cursor comes first where there is no room for both.
    row = drawn(portion(levels=taught, band=band(598.25, 1002.25, "eye")))["Eye"]
    assert row.endswith(" 600 (598..1002)")
    assert drawn(portion())["Eye"].endswith(" 600")
    tall = list(
        lanes.lines(portion(levels=taught), lanes.window(portion(), "push", 0.5, 80, near=False), 5)
    )
    first = next(n for n, line in enumerate(tall) if line.text.startswith("Eye"))
    rows = [signs(line.text[lanes.LABEL :]) for line in tall[first : first + 5]]
    assert [set(row.strip()) for row in rows] == [{"-"}, set(), {"*"}, set(), {"-"}]
    assert tall[first + 1].text.endswith(" 100/1100")
    assert tall[first + 4].text.endswith(" 100 to 1100")


def test_what_is_not_fitted_is_said_and_drawn_as_nothing() -> None:
    row = drawn(portion())["Air"]
    assert signs(row).strip() == ""
    assert row.endswith(" nothing is fitted")


def test_phases_valve_and_switches_stand_at_their_time() -> None:
    rows = drawn(portion(), 0.75)
    assert signs(rows["Phase"]).startswith("|take-up")
    push, cut = signs(rows["Phase"]).index("|push"), signs(rows["Phase"]).index("|cut")
    valve = signs(rows["Valve"])
    assert (push, cut) == (int(0.2 * 48), int(0.7 * 48))
    assert valve.index("O") == int(0.3 * 48)
    assert valve.index("#") == cut
    assert valve.index("F") == int(0.8 * 48)
    assert set(valve[int(0.9 * 48) + 1 :]) == {"."}
    assert rows["Valve"].endswith(" on; dough on")


def test_a_link_that_was_lost_and_readings_that_lack_are_seen() -> None:
    told = portion(link=[[0.45, False], [0.55, True]])
    told["t_s"] = [t_s if t_s < 0.4 else t_s + 0.5 for t_s in told["t_s"]]
    told["events"][-1] = [1.5, "ended, complete"]
    rows = drawn(told, 0.5)
    assert "x" in signs(rows["Link"])
    assert "  " in signs(rows["Link"])
    assert rows["Link"].endswith(" lost")
    # The reading before was at 0.3 s: at 0.5 s it still counts, at 0.6 s it is too old.
    assert rows["Thrust"].endswith(" 130 N")
    assert drawn(told, 0.6)["Thrust"].endswith(" no reading")


def test_closer_a_column_is_10_ms_around_the_cursor() -> None:
    row = signs(drawn(portion(), 0.5, near=True)["Time"])
    assert row.index("|") == len(row) // 2
    # The cut begins 0.2 s, which is 20 columns, after the cursor.
    assert row.index("+", len(row) // 2) - row.index("|") == 20
    # What lies half a column before the window is not drawn at its edge.
    view = lanes.window(portion(), "push", 0.5, 80, near=True)
    assert view.column(view.from_s - 0.005) == -1


def test_a_portion_that_never_came_to_its_cut_is_told_from_its_beginning() -> None:
    told = portion(at_s={"push": 0.2, "cut": None})
    assert lanes.zero_s(told, "push") == 0.2
    assert lanes.zero_s(told, "cut") == 0.0


def test_in_a_tall_window_readings_stand_at_their_height_on_their_band() -> None:
    told = portion(band=band(110.0, 150.0))
    view = lanes.window(told, "push", 0.5, 80, near=False)
    found = [line.text for line in lanes.lines(told, view, 5)]
    assert max(map(len, found)) <= 80
    first = next(n for n, text in enumerate(found) if text.startswith("Thrust"))
    rows = [signs(text[lanes.LABEL :]) for text in found[first : first + 5]]
    heights = [4 - next(n for n, row in enumerate(rows) if row[at] in "*^v") for at in (0, 25, 48)]
    assert heights == [0, 2, 4], "100, 150 and 200 N of 100 to 200"
    assert [sum(row.count(sign) for row in rows) > 0 for sign in "*^v:"] == [True] * 4
    assert rows[0].count(":") == 0, "the band ends at 150 N"
    assert found[first].endswith("150 N (110..150)")
    assert found[first + 4].rstrip().endswith("100 to 200")
    (air,) = [text for text in found if text.startswith("Air")]
    assert air.rstrip().endswith("nothing is fitted")


@pytest.mark.parametrize(("room", "tall"), [(9, 1), (17, 1), (18, 3), (30, 6), (99, 7)])
def test_lanes_grow_with_the_room_and_only_those_that_were_measured(room: int, tall: int) -> None:
    told = portion()
    assert lanes.height(told, room) == tall
    view = lanes.window(told, "push", 0.5, 80, near=False)
    assert tall == 1 or len(list(lanes.lines(told, view, tall))) + 1 <= room
