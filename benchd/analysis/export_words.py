"""A line of the board in words a person understands, once for each combination of what the words
rest on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from benchd.analysis.timeline import event_words
from benchd.core.facts import BenchFacts
from benchd.core.words import refusal
from protocols import messages as m
from protocols.codes import CAUSES, INTERLOCK_BY_NUMBER, MODES, MOVE_ENDINGS, MOVES, PHASES, PINS
from protocols.errors import PeerError

if TYPE_CHECKING:
    import pyarrow as pa

KEPT_MAX = 10_000
"""Texts remembered at most; a day of a bench has some hundreds."""


def _at(table: Sequence[str], number: int) -> str:
    return table[number] if 0 <= number < len(table) else str(number)


def _code(number: int) -> str:
    interlock = INTERLOCK_BY_NUMBER.get(number)
    return f"{interlock.code} ({interlock.title})" if interlock else f"interlock {number}"


def _beat(facts: BenchFacts, said: Any) -> str:
    phase = f", {_at(PHASES, said.phase)}" if said.phase else ""
    return f"beat: {_at(MODES, said.mode)}{phase}"


WORDS: dict[type[m.Message], Callable[[BenchFacts, Any], str]] = {
    m.Bench: lambda f, s: f"board {s.board}, firmware {s.firmware}, boot {s.boot}: {s.cause}",
    m.Yes: lambda f, s: f"command {s.id} taken",
    m.No: lambda f, s: f"command {s.id} refused: {refusal(f, s.reason, s.value, s.bound).message}",
    m.Beat: _beat,
    m.Sample: lambda f, s: "sample",
    m.Boot: lambda f, s: f"the board started (cause: {_at(CAUSES, s.cause)}), boot {s.boot}",
    m.Moved: lambda f, s: f"feed move ended: {_at(MOVES, s.kind)}, {_at(MOVE_ENDINGS, s.reason)}",
    m.Freed: lambda f, s: f"{_code(s.interlock)} let go",
    m.Ignored: lambda f, s: (
        f"{_at(PINS, s.signal)} pressed, nothing done: {refusal(f, s.reason, 0, 0).message}"
    ),
    m.Lost: lambda f, s: f"{s.count} events lost on the board",
}
"""Words of the lines that a portion's time line does not show; it has those of the others."""

REST_ON: dict[type[m.Message], tuple[str, ...]] = {
    m.Yes: ("id",),
    m.No: ("id", "reason", "value", "bound"),
    m.Beat: ("mode", "phase"),
    m.Sample: (),
    m.Phase: ("phase",),
    m.Edge: ("signal", "level"),
    m.Moved: ("kind", "reason"),
    m.Ended: ("outcome",),
    m.Freed: ("interlock",),
    m.Ignored: ("signal", "reason"),
}
"""Fields that the words rest on; of other lines, all of them."""


class LineWords:
    """Words for lines of one journal."""

    def __init__(self, facts: BenchFacts) -> None:
        self._facts = facts
        self._kept: dict[tuple[Any, ...], str] = {}

    def of(self, code: int, columns: Sequence[pa.Array]) -> list[str]:
        """Return the words of lines of one kind; `columns` are their fields in order."""
        cls = m.BY_CODE[code].cls
        names = cls.__struct_fields__
        rest_on = REST_ON.get(cls, names)
        if not rest_on:
            return [self._words(cls, columns, 0)] * len(columns[0])
        keys = zip(*(columns[names.index(name)].to_pylist() for name in rest_on), strict=True)
        kept = self._kept
        texts: list[str] = []
        for at, key in enumerate(keys):
            text = kept.get((code, *key))
            if text is None:
                if len(kept) >= KEPT_MAX:
                    kept.clear()
                text = kept[(code, *key)] = self._words(cls, columns, at)
            texts.append(text)
        return texts

    def of_greeting(self, line: str) -> str:
        """Return the words of a greeting; the line itself when it is none."""
        try:
            return WORDS[m.Bench](self._facts, m.decode(line.encode("ascii")))
        except (PeerError, ValueError, AttributeError):
            return line

    def _words(self, cls: type[m.Message], columns: Sequence[pa.Array], at: int) -> str:
        fields = [column[at].as_py() for column in columns]
        try:
            said = cls(*fields)
            words = WORDS.get(cls)
            if words is not None:
                return words(self._facts, said)
            assert isinstance(said, m.Event)
            return event_words(self._facts, said)
        except (LookupError, TypeError, ValueError):
            return f"{cls.tag} {' '.join(map(str, fields))}"  # Its codes are of another version.
