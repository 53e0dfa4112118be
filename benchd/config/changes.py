"""What differs between two cards, in the units of whoever wrote them, and what is worth a question.

A wrong card is the likeliest reason why every portion is off from one moment on, so a value that
moved by more than ASK_SHARE is asked about before anything moves by it.
"""

from __future__ import annotations

from typing import NamedTuple

from benchd.config.bench import bench_values
from benchd.config.dough import dough_values
from benchd.config.errors import CardError, Problems
from benchd.config.keys import Value, Values
from benchd.config.text import entries
from benchd.core.card_change import ASK_SHARE

UNASKED = ("bench", "port", "baud", "mqtt", "dough", "pins")
"""Keys and sections of which nothing moves: they are shown, and never asked about."""


class Change(NamedTuple):
    """One value that differs: key, what was and is written, and the change as a share.

    The texts are empty where a card gives none; `share` is None where there is none to compute.
    """

    path: str
    before: str
    after: str
    share: float | None

    @property
    def asks(self) -> bool:
        """Whether the person is asked before it counts."""
        if self.path.partition(".")[0] in UNASKED:
            return False
        return self.share is None or abs(self.share) > ASK_SHARE

    def line(self) -> str:
        """Return it in one line, such as "limits.thrust: 400 N -> 450 N (+12 %)"."""
        share = "" if self.share is None else f" ({percent(self.share)})"
        return f"{self.path}: {self.before or 'not given'} -> {self.after or 'not given'}{share}"


def percent(share: float) -> str:
    """Return a change as a person reads it: "+12 %", "-1.5 %"."""
    hundredths = share * 100
    return f"{hundredths:+.0f} %" if abs(hundredths) >= 10 else f"{hundredths:+.2g} %"


def kind_of(text: str) -> str:
    """Return "bench" or "dough" for the text of a card, or nothing where it does not tell."""
    try:
        paths = {entry.path for entry in entries(text, Problems("card"))}
    except CardError:
        return ""
    kinds = {"bench", "dough"} & paths
    return kinds.pop() if len(kinds) == 1 else ""


def read_values(text: str, name: str, kind: str) -> Values:
    """Return the values of a card of this kind, of a dough card without a bench.

    Raises: CardError with one sentence a mistake.
    """
    problems = Problems(name)
    values = (dough_values if kind == "dough" else bench_values)(text, problems)
    problems.raise_if_any()
    return values


def changes(before: Values, after: Values) -> list[Change]:
    """Return what differs between two cards of a kind, in the order of the newer one's table."""
    old, new = before.all(), after.all()
    found: list[Change] = []
    for path in [*new, *(path for path in old if path not in new)]:
        was, now = old.get(path), new.get(path)
        if was == now and type(was) is type(now):
            continue
        share = _share(was, now)
        # The same length in other units is no change.
        if share is not None and abs(share) < 1e-9:
            continue
        found.append(Change(path, before.written(path), after.written(path), share))
    return found


def _share(was: Value | None, now: Value | None) -> float | None:
    if isinstance(was, bool | str | frozenset) or isinstance(now, bool | str | frozenset):
        return None
    if was is None or now is None or was == 0:
        return None
    return now / was - 1
