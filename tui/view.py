"""What a person reads of a BenchStatus: plain lines of text, the same on every screen.

Pure: a snapshot goes in, text comes out. Display units appear here and nowhere else. Every line is
printable ASCII, whatever names were typed. No line ever says that a hand may go in: it says what is
loaded or live, what was not measured and so counts as loaded, and what nobody watches.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, NamedTuple, cast

if TYPE_CHECKING:
    from protocols.status import Abnormal, BenchStatus, BrokerStatus, LastPortion, SeriesStatus

WIDTH = 80
"""Columns of a line."""

LABEL = 10
"""Columns of the word in front of a line."""

RANKS: dict[int, str] = {3: "!3 STOP", 2: "!2 WATCH", 1: "!1 NOTE"}
"""Rank of an abnormal as sign and word."""

OLD_AFTER_S = 0.5
"""Values are called old when the last word from the board is older than this (IL-19)."""

UNKNOWN_ENERGY = "not known: treat as loaded"
UNKNOWN_LIVE = "not known: treat as live"

MOVING = ("NUDGING", "PORTIONING")
"""States in which something moves."""

ANSWER_S = 1.5
"""How long a stop may take to show: a ramp from full speed, a blade on its way home, a beat."""

URGENT = "press the emergency stop, shut and vent the air"
"""What is left to do where a stop may not have come through."""

SPELLED = str.maketrans({"\u00b1": "+-", "\u00b0": " deg "})
"""Signs of our own sentences that are not ASCII, and how they are written here."""


_NUMBER_UNIT = re.compile(r"(?<=\d) (?=(?:mm|g|N|s|ms|min|h|bar|V|%|C|counts|kB)\b|%)")
"""The blank between a number and its unit."""


class Row(NamedTuple):
    """One line: the word in front, and what it says."""

    label: str
    text: str


def from_json(data: Mapping[str, Any]) -> BenchStatus:
    """Return a snapshot from its JSON object, without the message library, which loads slowly.

    Raises: KeyError when a field is missing.
    """
    fields: dict[str, Any] = dict(data)
    for name in ("abnormals", "returned"):
        fields[name] = tuple(SimpleNamespace(**one) for one in data[name])
    for name in ("last", "series", "broker"):
        fields[name] = None if data[name] is None else SimpleNamespace(**data[name])
    return cast("BenchStatus", SimpleNamespace(**fields))


def plain(text: str) -> str:
    """Return text as printable ASCII; any other sign or control character becomes "?"."""
    return "".join(sign if " " <= sign <= "~" else "?" for sign in text.translate(SPELLED))


def millimetres(metres: float | None, digits: int = 1) -> str:
    """Return a length in mm."""
    return "-" if metres is None else f"{metres * 1e3:.{digits}f} mm"


def grams(kilograms: float | None, digits: int = 1) -> str:
    """Return a mass in g."""
    return "-" if kilograms is None else f"{kilograms * 1e3:.{digits}f} g"


def weighed(kilograms: float | None) -> str:
    """Return a single weight in g with all digits that a scale shows, and at least one decimal."""
    if kilograms is None:
        return "-"
    grams_shown = round(kilograms * 1e3, 3)
    return (
        f"{grams_shown:.1f} g" if round(grams_shown, 1) == grams_shown else f"{grams_shown:.9g} g"
    )


def newtons(newton: float | None) -> str:
    """Return a force in N."""
    return "-" if newton is None else f"{newton:.0f} N"


def volts(volt: float | None) -> str:
    """Return a voltage in V."""
    return "-" if volt is None else f"{volt:.2f} V"


def seconds(value: float | None) -> str:
    """Return a time in s, min or h, two or three digits."""
    if value is None:
        return "-"
    value = max(value, 0.0)
    if value < 99.95:
        return f"{value:.1f} s"
    if value < 5970:
        return f"{value / 60:.0f} min"
    return f"{value / 3600:.1f} h"


def whole_seconds(value: float) -> str:
    """Return a time whose tenths say nothing, so that a screen stays quiet between two seconds."""
    return f"{max(int(value), 0)} s" if value < 99.95 else seconds(value)


def percent(share: float, digits: int = 1) -> str:
    """Return a share with its sign, in %."""
    return f"{share * 100:+.{digits}f} %"


def several(count: int, one: str, many: str = "") -> str:
    """Return a count with its word: 1 portion, 2 portions."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def is_old(status: BenchStatus) -> bool:
    """Whether the values are older than the board's word may be."""
    age_s = status.link_age_s
    return status.state == "NO LINK" or age_s is None or age_s > OLD_AFTER_S


def link_text(status: BenchStatus) -> str:
    """Return the age of the link in words."""
    if status.link_age_s is None:
        return "no word from the board yet"
    return f"link {seconds(status.link_age_s)}"


def energy_row(status: BenchStatus) -> Row:
    """Return the energy line: barrel, air, coils; what is old or has no word counts as loaded."""
    old = is_old(status)
    return Row(
        "ENERGY",
        "; ".join(
            f"{name} {unknown if old or not words else words}"
            for name, words, unknown in (
                ("barrel", status.barrel, UNKNOWN_ENERGY),
                ("air", status.air, UNKNOWN_LIVE),
                ("coils", status.coils, UNKNOWN_LIVE),
            )
        ),
    )


def not_watched_row(status: BenchStatus) -> Row | None:
    """Return the line of what nobody watches, or None when all is fitted and the board speaks."""
    if is_old(status):
        return Row("NOT WATCHED:", "anything, while no word comes from the board")
    if not status.not_watched:
        return None
    return Row("NOT WATCHED:", ", ".join(status.not_watched))


def guard_text(status: BenchStatus, *, brief: bool = False) -> str:
    """Return the guard, and what nobody watches, in words for a consequence line; `brief` where the
    line of what is not watched stands above it."""
    if "guard" in status.not_watched:
        shown = "guard not watched"
    elif status.state == "NO LINK":
        shown = "guard not known"
    else:
        shown = "guard shut" if status.pins.get("guard") else "guard open"
    others = [part for part in status.not_watched if part != "guard"]
    if not others:
        return shown
    named = f"{several(len(others), 'part')} (above)" if brief else ", ".join(others)
    return f"{shown}; nobody watches {named}"


def loaded_text(status: BenchStatus, *, brief: bool = False) -> str:
    """Return guard, barrel and air in words for a consequence line."""
    return f"{guard_text(status, brief=brief)}; barrel {status.barrel}; air {status.air}"


def state_row(status: BenchStatus) -> Row:
    """Return the first line: state, phase, what it waits for, bench, link."""
    words = [status.state]
    if status.phase and status.phase != "none":
        words.append(status.phase)
    text = " ".join(words)
    if status.waits_for:
        # Why there is no link is a whole sentence, which stands beside IL-19 below.
        waits_for = "the board" if status.state == "NO LINK" else status.waits_for
        if status.state == "PAUSED" and status.series is not None:
            # The line of the series says why.
            waits_for = waits_for.split(" (")[0]
        text += f"; waits for {waits_for}"
    old = "; VALUES ARE OLD" if is_old(status) else ""
    return Row("", f"{text}; bench {status.bench}; {link_text(status)}{old}")


def portion_row(status: BenchStatus) -> Row:
    """Return the line of the portion under way or last made, with its weight against the aim."""
    series = status.series
    text = f"{status.portion}" if status.portion else "none yet"
    if status.state != "PORTIONING":
        pass  # How many of the series are made stands in its own line.
    elif series is not None and series.count is not None:
        text += f" (portion {min(series.made + 1, series.count)} of {series.count} in this series)"
    elif series is not None:
        text += f" ({series.made} made in this series)"
    if status.aim_kg is not None:
        text += f"; aim {grams(status.aim_kg)}"
    if status.last is not None:
        text += f"; last: {_last_text(status.last, status.aim_kg)}"
    return Row("Portion", text)


def _last_text(last: LastPortion, aim_kg: float | None) -> str:
    text = f"{last.number} {last.kind} {last.outcome}".strip()
    if last.mass_kg is None:
        # One that was stopped or tripped is not asked for at the scale.
        text += ", not weighed" if last.outcome == "complete" else ""
    else:
        text += f", {weighed(last.mass_kg)}"
        text += f" {percent(last.mass_kg / aim_kg - 1)}" if aim_kg else ""
    return "; ".join((text, *last.seen))


STROKE_FOLLOWS = "a series changes this by the weights, at most 2 % at once and 10 % in all"
"""What a dough card with `auto_stroke` means, before anything moves."""


def series_row(series: SeriesStatus) -> Row:
    """Return how the series goes."""
    count = "until the end of the tube" if series.count is None else f"of {series.count}"
    text = f"{series.made} {count}, one every {seconds(series.every_s)}"
    if series.paused:
        text += "; PAUSED" + (f": {series.pause_reason}" if series.pause_reason else "")
    elif series.finishing:
        text += "; ends after this portion"
    elif series.next_in_s is not None:
        text += f"; next push in {seconds(series.next_in_s)}"
    if series.late:
        text += f"; {several(series.late, 'beat')} late"
    if series.stroke_m is not None and series.card_stroke_m:
        text += f"; stroke {millimetres(series.stroke_m, 2)} by the weights"
        if series.adjusted:
            text += f", {percent(series.stroke_m / series.card_stroke_m - 1)} off the card's"
    return Row("Series", text)


BY_HAND: dict[str, tuple[str, float, str]] = {
    "air_pa": ("air", 1e-5, " bar"),
    "needle_turns": ("needle", 1.0, " turns"),
    "nozzle_m": ("nozzle", 1e3, " mm"),
    "sleeve": ("sleeve", 1.0, ""),
    "lamp": ("lamp", 1.0, ""),
}
"""Name of a value set by hand to its word, its factor from SI, and its unit."""


def by_hand_row(status: BenchStatus) -> Row | None:
    """Return what people set by hand, and the comparison group that began with it; or None."""
    if not status.by_hand:
        return None
    parts = []
    for name, value in status.by_hand.items():
        word, factor, unit = BY_HAND.get(name, (name, 1.0, ""))
        shown = f"{value * factor:.4g}{unit}" if isinstance(value, int | float) else value
        parts.append(f"{word} {shown}")
    return Row("By hand", f"{', '.join(parts)}; group {status.group}")


def weights_row(status: BenchStatus) -> Row | None:
    """Return what is weighed and what is not, or None when there is nothing to say."""
    parts = []
    if status.n_weighed and status.mean_kg is not None:
        parts.append(f"mean {grams(status.mean_kg)} of {status.n_weighed} weighed")
    if status.unweighed:
        shown = ", ".join(str(number) for number in status.unweighed[:8])
        more = len(status.unweighed) - 8
        parts.append(f"not weighed: {shown}" + (f" and {more} more" if more > 0 else ""))
    return Row("Weights", "; ".join(parts)) if parts else None


def tube_row(status: BenchStatus) -> Row:
    """Return what is in the barrel and how much of it is left."""
    if not status.tube:
        return Row("Tube", "no tube loaded")
    parts = [status.tube]
    if status.dough:
        parts.append(f"dough {status.dough}")
    if status.tube_open_s is not None:
        parts.append(f"open for {whole_seconds(status.tube_open_s)}")
    if status.tube_left_m is not None:
        parts.append(f"{millimetres(status.tube_left_m, 0)} left")
    if status.tube_left_portions is not None:
        parts.append(f"about {several(status.tube_left_portions, 'portion')}")
    return Row("Tube", "; ".join(parts))


def feed_row(status: BenchStatus) -> Row:
    """Return where the feed stands, or that nobody knows."""
    if is_old(status):
        where = "position not known, while no word comes from the board"
    elif not status.position_known or status.position_m is None:
        where = "position not known: say it with 'benchd here'"
    else:
        where = f"at {millimetres(status.position_m)}"
    return Row("Feed", where)


def eye_row(status: BenchStatus) -> Row | None:
    """Return what the eye reads, or None when none is fitted."""
    if status.eye_counts is None:
        return None
    sees = {True: "dough", False: "no dough", None: "not known"}[status.eye_sees]
    if status.eye_taught is not None:
        taught = f"taught {status.eye_taught[0]}/{status.eye_taught[1]}"
    elif status.eye_sees is not None:
        taught = "by the card's levels, not taught"
    else:
        taught = "not taught: 'benchd eye --empty', then 'benchd eye --dough'"
    return Row("Eye", f"{status.eye_counts} counts, {sees}; {taught}")


def abnormal_rows(abnormals: tuple[Abnormal, ...], now_ns: int) -> list[Row]:
    """Return each abnormal, worst first: rank as sign and word, age, whether it was seen, what, so
    what, do what; those that are shelved are left out."""
    rows = []
    for one in abnormals:
        if one.standing == "shelved":
            continue
        age = whole_seconds((now_ns - one.since_ns) / 1e9)
        stands = f", {standing_words(one)}" if one.rank > 1 else ""
        text = " ".join(part for part in (one.what, one.so_what, one.do_what) if part)
        label = RANKS.get(one.rank, f"!{one.rank}")
        rows.append(Row(label, f"{one.code} {age} ago{stands}: {text}"))
    return rows


STANDING = {
    "raised": "not seen yet",
    "seen": "seen",
    "returned": "back to normal",
    "shelved": "shelved",
}
"""State of an alarm by ISA-18.2 to its words."""


def standing_words(one: Abnormal) -> str:
    """Return the state of an alarm; one that holds a latch is not over when its cause is gone."""
    words = STANDING[one.standing]
    return f"cause gone, still latched, {words}" if one.cause_gone else words


RAISED_USUAL, RAISED_FLOOD = 1, 10
"""Alarms in 10 minutes that a person can take in, and those beyond which nobody can (ISA-18.2)."""


def alarm_row(status: BenchStatus) -> Row | None:
    """Return how many alarms were raised lately; None while they are few."""
    count = status.raised_lately
    if count <= RAISED_USUAL:
        return None
    flood = "TOO MANY to follow, take the worst first: " if count > RAISED_FLOOD else ""
    return Row("Alarms", f"{flood}{count} raised in 10 min, {RAISED_USUAL} at most is usual")


def shelved_row(status: BenchStatus) -> Row | None:
    """Return what is shelved, for how much longer, by whom and why; None when nothing is."""
    parts = []
    for one in status.abnormals:
        if one.standing == "shelved" and one.shelved_until_ns is not None:
            left = (one.shelved_until_ns - status.now_ns) / 1e9
            parts.append(
                f"{one.code} for {whole_seconds(left)} more, by {one.shelved_by}: {one.shelved_why}"
            )
    return Row("Shelved", "; ".join(parts)) if parts else None


def spread_row(status: BenchStatus) -> Row | None:
    """Return the spread so far with the interval that so few weights support; None where nothing
    is weighed."""
    n = status.n_spread
    if not n:
        return None
    if status.spread_kg is None:
        # Only here: its module costs each `benchd status` more than all else in this one.
        from protocols.limits import SPREAD_LEAST

        return Row("Spread", f"not told from {several(n, 'weight')}: it takes {SPREAD_LEAST}")
    sd, low, high = status.spread_kg
    if status.mean_kg:
        unit, factor = "%", 100 / status.mean_kg
    else:
        unit, factor = "g", 1e3
    return Row(
        "Spread",
        f"{sd * factor:.1f} {unit} (95 of 100: {low * factor:.1f} to {high * factor:.1f} {unit}) "
        f"of {n} alike",
    )


def rows(status: BenchStatus) -> list[Row]:
    """Return everything a person wants at a glance, most important first."""
    found: list[Row | None] = [
        state_row(status),
        energy_row(status),
        not_watched_row(status),
        *abnormal_rows(status.abnormals, status.now_ns),
        *abnormal_rows(status.returned, status.now_ns),
        shelved_row(status),
        alarm_row(status),
        portion_row(status),
        series_row(status.series) if status.series is not None else None,
        weights_row(status),
        spread_row(status),
        tube_row(status),
        feed_row(status),
        eye_row(status),
        by_hand_row(status),
        journal_row(status),
        Row("Board", board_text(status)) if status.board else None,
        Row("Control", status.controller) if status.controller else None,
        broker_row(status),
    ]
    return [row for row in found if row is not None]


def journal_row(status: BenchStatus) -> Row:
    """Return the journal that is written, or that none can be."""
    return Row("Journal", status.journal or "none" if status.journal_ok else "CANNOT BE WRITTEN")


def broker_row(status: BenchStatus) -> Row | None:
    """Return how news goes out, or None where the card names no broker."""
    return None if status.broker is None else Row("Broker", broker_text(status.broker))


def broker_text(broker: BrokerStatus) -> str:
    """Return how news goes out: quiet while it does, else why not and what waits or is lost."""
    parts = ["connected"] if broker.connected else [broker.trouble or "not connected yet"]
    if broker.waiting and not broker.connected:
        parts.append(f"{broker.waiting} records wait")
    if broker.dropped:
        parts.append(f"{broker.dropped} records were dropped, the journal has them")
    return "; ".join(part.removesuffix(".") for part in parts)


def board_text(status: BenchStatus) -> str:
    """Return the board, its supply, and what of the line was bad or lost."""
    parts = [status.board]
    if status.supply_v is not None:
        parts.append(f"supply {volts(status.supply_v)}")
    if status.lines_bad:
        parts.append(several(status.lines_bad, "bad line"))
    if status.samples_lost:
        parts.append(several(status.samples_lost, "sample lost", "samples lost"))
    if status.clock_error_s is not None:
        parts.append(f"times within {status.clock_error_s * 1e3:.1f} ms")
    return "; ".join(parts)


def status_lines(status: BenchStatus, width: int = WIDTH) -> list[str]:
    """Return the snapshot as lines of at most `width` columns."""
    return [line for row in rows(status) for line in row_lines(row, width)]


def row_lines(row: Row, width: int) -> list[str]:
    """Return a row as lines of at most `width` columns, later ones under its text."""
    label = f"{plain(row.label):<{LABEL - 1}} " if row.label else ""
    return wrapped(label + plain(row.text), width, " " * LABEL, break_long_words=True)


def wrapped(text: str, width: int, hang: str, *, break_long_words: bool) -> list[str]:
    """Return text as lines of at most `width` columns, later ones behind `hang`, with no number
    parted from its unit."""
    joined = _NUMBER_UNIT.sub("\u00a0", text)
    lines = textwrap.wrap(
        joined,
        width,
        subsequent_indent=hang,
        break_long_words=break_long_words,
        break_on_hyphens=False,
    )
    return [line.replace("\u00a0", " ") for line in lines]
