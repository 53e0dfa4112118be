"""The time of day of an entry: the host's clock as the daemon was told of the time of day."""

from __future__ import annotations

from bisect import bisect_right

import msgspec

from benchd.analysis.reader import Reader
from benchd.core import ledger
from benchd.io.journal_format import opened_us_of

_TELLS = ('"wall_us"',)
"""What the text of an input holds that tells the time of day."""


class DayTimes:
    """Times of day of one journal, from the moments at which the core was told it: at its opening
    and each minute, so that a clock that was set is followed."""

    def __init__(self, reader: Reader) -> None:
        self._ticks: list[tuple[int, int]] = []
        first = next((entry for _, entry in reader.entries(upto=1)), None)
        opened_us = opened_us_of(reader.meta)
        if first is not None and opened_us is not None:
            self._ticks.append((first.t_ns, opened_us))
        for _, entry in reader.entries(kinds={ledger.INPUT}, told=_TELLS):
            wall_us = _told_us(entry.text)
            if wall_us is not None:
                self._ticks.append((entry.t_ns, wall_us))

    def wall_us(self, t_ns: int) -> int | None:
        """Return the time of day at a moment of the host's clock, UTC [us since 1970]; None where
        the journal does not know it."""
        if not self._ticks:
            return None
        at = bisect_right(self._ticks, t_ns, key=lambda tick: tick[0])
        tick_ns, tick_us = self._ticks[max(at - 1, 0)]
        return tick_us + (t_ns - tick_ns) // 1000


def _told_us(text: str | None) -> int | None:
    try:
        told = msgspec.json.decode(text or "{}", type=dict[str, object])
    except (msgspec.MsgspecError, UnicodeError):
        return None
    wall_us = told.get("wall_us")
    return (
        wall_us if told.get("input") in ("opened", "wall-clock") and type(wall_us) is int else None
    )
