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
    fields["abnormals"] = tuple(SimpleNamespace(**one) for one in data["abnormals"])
    for name in ("last", "series"):
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


def state_row(status: BenchStatus) -> Row:
    """Return the first line: state, phase, what it waits for, bench, link."""
    words = [status.state]
    if status.phase and status.phase != "none":
        words.append(status.phase)
    text = " ".join(words)
    if status.waits_for:
        # Why there is no link is a whole sentence, which stands beside IL-19 below.
        waits_for = "the board" if status.state == "NO LINK" else status.waits_for
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
        return f"{text}, not weighed" if last.outcome == "complete" else text
    text += f", {grams(last.mass_kg)}"
    if aim_kg:
        text += f" {percent(last.mass_kg / aim_kg - 1)}"
    return text


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
    return Row("Series", text)


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
    if status.tube_left_m is not None:
        parts.append(f"{millimetres(status.tube_left_m, 0)} left")
    if status.tube_left_portions is not None:
        parts.append(f"about {several(status.tube_left_portions, 'portion')}")
    return Row("Tube", "; ".join(parts))


def feed_row(status: BenchStatus) -> Row:
    """Return where the feed stands, or that nobody knows."""
    if not status.position_known or status.position_m is None:
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
    """Return each abnormal, worst first: rank as sign and word, age, what, so what, do what."""
    rows = []
    for one in abnormals:
        age = seconds((now_ns - one.since_ns) / 1e9)
        text = " ".join(part for part in (one.what, one.so_what, one.do_what) if part)
        rows.append(Row(RANKS.get(one.rank, f"!{one.rank}"), f"{one.code} {age} ago: {text}"))
    return rows


def rows(status: BenchStatus) -> list[Row]:
    """Return everything a person wants at a glance, most important first."""
    found: list[Row | None] = [
        state_row(status),
        energy_row(status),
        not_watched_row(status),
        *abnormal_rows(status.abnormals, status.now_ns),
        portion_row(status),
        series_row(status.series) if status.series is not None else None,
        weights_row(status),
        tube_row(status),
        feed_row(status),
        eye_row(status),
        Row("Journal", status.journal or "none")
        if status.journal_ok
        else Row("Journal", "CANNOT BE WRITTEN"),
        Row("Board", _board_text(status)) if status.board else None,
        Row("Control", status.controller) if status.controller else None,
        Row("Broker", broker_text(status.broker)) if status.broker is not None else None,
    ]
    return [row for row in found if row is not None]


def broker_text(broker: BrokerStatus) -> str:
    """Return how news goes out: quiet while it does, else why not and what waits or is lost."""
    parts = ["connected"] if broker.connected else [broker.trouble or "not connected yet"]
    if broker.waiting and not broker.connected:
        parts.append(f"{broker.waiting} records wait")
    if broker.dropped:
        parts.append(f"{broker.dropped} records were dropped, the journal has them")
    return "; ".join(part.removesuffix(".") for part in parts)


def _board_text(status: BenchStatus) -> str:
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


PHASE_ORDER = ("take-up", "push", "draw-back", "settle", "cut", "return")


def portion_line(record: Mapping[str, Any]) -> str:
    """Return one line about a portion that ended: number, class, stroke, phase times, thrust.

    `record` is a portion record as the daemon publishes it; what it lacks is left out.
    """
    parts = [f"portion {record['number']} {record['class']}"]
    if record.get("outcome") != "complete":
        parts.append(
            f"{record.get('outcome', 'unseen').upper()} {record.get('reason', '')}".strip()
        )
    asked = record.get("asked_m")
    if asked:
        parts.append(f"stroke {millimetres(asked.get('push'))}")
    if asked and record.get("asked_steps") and record.get("made_steps") != record["asked_steps"]:
        made = record.get("made_steps") or 0
        parts.append(f"made {made / record['asked_steps'] * 100:.0f} % of it")
    times = record.get("phase_s") or {}
    shown = [f"{name} {times[name]:.2f}" for name in PHASE_ORDER if name in times]
    if shown:
        parts.append(f"{' '.join(shown)} s")
    peak = (record.get("thrust_n") or {}).get("peak")
    if peak is not None:
        parts.append(f"thrust {peak:.0f} N")
    return plain("; ".join(parts))


PORTION_HEAD = "portion          stroke take-up push draw-back settle  cut return thrust weight"
"""Heads of the columns of `portion_cells`."""


def portion_cells(record: Mapping[str, Any], mass_kg: float | None) -> str:
    """Return a portion that ended as one line of columns: mm, then seconds, N and g."""
    outcome = record.get("outcome")
    kind = record["class"] if outcome == "complete" else f"{outcome}".upper()
    times = record.get("phase_s") or {}
    widths = (7, 4, 9, 6, 4, 6)
    cells = [
        f"{times[name]:>{width}.2f}" if name in times else f"{'-':>{width}}"
        for name, width in zip(PHASE_ORDER, widths, strict=True)
    ]
    stroke = millimetres((record.get("asked_m") or {}).get("push"))
    thrust = newtons((record.get("thrust_n") or {}).get("peak"))
    return plain(
        f"{record['number']:>3} {kind:<11} {stroke:>7} {' '.join(cells)} {thrust:>6} "
        f"{grams(mass_kg):>6}"
    )


def status_lines(status: BenchStatus, width: int = WIDTH) -> list[str]:
    """Return the snapshot as lines of at most `width` columns."""
    return [line for row in rows(status) for line in _wrapped(row, width)]


def _wrapped(row: Row, width: int) -> list[str]:
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


def status_line(status: BenchStatus, width: int = WIDTH) -> str:
    """Return the snapshot as one line, most important first: for following along and for logs.

    What does not fit into `width` is left out as a whole.
    """
    phase = f" {status.phase}" if status.phase and status.phase != "none" else ""
    parts = [f"{status.state}{phase}"]
    if status.abnormals:
        worst = status.abnormals[0]
        parts.append(f"{RANKS.get(worst.rank, '')} {worst.code}")
    if is_old(status):  # Fresh, its age changes all the time and says nothing.
        parts.append(link_text(status))
    parts.append(f"barrel {UNKNOWN_ENERGY if is_old(status) else status.barrel or UNKNOWN_ENERGY}")
    if status.series is not None:
        of = "" if status.series.count is None else f" of {status.series.count}"
        parts.append(f"made {status.series.made}{of}")
    if status.portion:
        parts.append(f"portion {status.portion}")
    if status.position_known and status.position_m is not None:
        parts.append(f"feed {millimetres(status.position_m)}")
    line = plain(parts[0])[:width]
    for part in parts[1:]:
        longer = f"{line}; {plain(part)}"
        if len(longer) <= width:
            line = longer
    return line
