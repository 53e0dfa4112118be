"""Portions with their weights, from one or several journals, sorted into what may be compared.

The latest reading of a portion counts, also when it stands in a later journal than the portion.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import msgspec

from benchd.analysis.reader import Reader, oldest_first
from benchd.core import ledger

NORMAL = "normal"
COMPLETE = "complete"

Key = TypeVar("Key")

_WANTED = {ledger.RECORDS[name] for name in ("portion", "weight", "tube")} | {ledger.INPUT}
_CARDS = ('"tolerance"', '"opened"')
"""What the text of an input holds that tells a dough card or the bench's."""


class Made(msgspec.Struct, frozen=True):
    """One portion of a journal. SI; None where not fitted, not known or not weighed."""

    bench: str
    number: int
    tube: str
    loading: int
    """How manieth tube of the bench this was in these journals; an id may come twice."""
    index: int
    """How manieth portion of its tube."""
    group: int
    dough: str
    aim_kg: float
    recipe: tuple[float | None, float | None, float | None]
    """Take-up, push and draw-back asked for [m]."""
    kind: str
    """Class: first, normal, after-pause, flagged or tail."""
    outcome: str
    position_m: float | None
    travel_m: float | None
    tolerance: float | None
    by_hand: dict[str, float | str]
    signals: dict[str, float | None]
    """Cutter start delay and stroke [s], thrust at the cut [N]."""
    mass_kg: float | None = None
    readability_kg: float | None = None
    readings: int = 0
    """How often it was weighed."""

    @property
    def judged(self) -> bool:
        """Whether it counts for mean and spread: normal, complete and weighed."""
        return self.kind == NORMAL and self.outcome == COMPLETE and self.mass_kg is not None


class Loading(msgspec.Struct, frozen=True):
    """One tube put into a bench. net_kg, heel_kg: as typed when it came in and went out."""

    bench: str
    tube: str
    loading: int
    net_kg: float | None = None
    heel_kg: float | None = None
    taken_out: bool = False


class Compared(NamedTuple):
    """What portions must share to be compared: bench, dough, aim, values set by hand, recipe."""

    bench: str
    dough: str
    aim_kg: float
    group: int
    recipe: tuple[float | None, float | None, float | None]


class Weighed(NamedTuple):
    """All portions of some journals in order, and the tubes they came from."""

    portions: tuple[Made, ...]
    loadings: tuple[Loading, ...]
    strays: int
    """Weights of portions that are in none of these journals."""


def compared(portion: Made) -> Compared:
    """Return what a portion can be compared by."""
    return Compared(portion.bench, portion.dough, portion.aim_kg, portion.group, portion.recipe)


def by(portions: Iterable[Made], key: Callable[[Made], Key]) -> dict[Key, list[Made]]:
    """Return portions sorted by a key, in the order in which keys first come."""
    sorted_by: dict[Key, list[Made]] = defaultdict(list)
    for portion in portions:
        sorted_by[key(portion)].append(portion)
    return dict(sorted_by)


def read_weighed(paths: Sequence[Path]) -> Weighed:
    """Return the portions of journals, oldest journal first whatever their order here.

    Raises: JournalError when one cannot be read.
    """
    into = _Into()
    for reader in oldest_first(paths):
        into.read(reader)
    return into.done()


class _Into:
    """Collects portions, weights and tubes over journals."""

    def __init__(self) -> None:
        self.portions: dict[tuple[str, int], Made] = {}
        self.weights: dict[tuple[str, int], list[Mapping[str, Any]]] = defaultdict(list)
        self.loadings: dict[tuple[str, int], Loading] = {}
        self.current: dict[str, int] = {}

    def read(self, reader: Reader) -> None:
        """Take one journal in; a record that is damaged is left out, the rest is still worth
        having."""
        bench, travel_m = reader.meta.get("bench", ""), None
        tolerances: dict[str, float] = {}
        for _, entry in reader.entries(kinds=_WANTED, told=_CARDS):
            try:
                if entry.kind == ledger.INPUT:
                    travel_m = self._told(entry.text or "", tolerances) or travel_m
                    continue
                record = msgspec.json.decode(entry.text or "{}", type=dict[str, Any])
                kind = ledger.RECORD_BY_CODE[entry.kind]
                if kind == "tube":
                    self._tube(bench, record)
                elif kind == "weight":
                    self._weight((bench, record["portion"]), record)
                else:
                    self._portion(bench, record, tolerances, travel_m)
            except (msgspec.MsgspecError, KeyError, TypeError, ValueError):
                continue

    def _weight(self, portion: tuple[str, int], record: Mapping[str, Any]) -> None:
        if record["mass_kg"] is None:  # Taken back: what was read of it before does not count.
            self.weights.pop(portion, None)
        else:
            self.weights[portion].append(record)

    def _told(self, text: str, tolerances: dict[str, float]) -> float | None:
        told = msgspec.json.decode(text)
        dough = told.get("dough") or (told.get("carry") or {}).get("dough")
        if dough:
            tolerances[dough["name"]] = float(dough.get("tolerance", 0.05))
        facts = told.get("facts")
        return float(facts["travel_m"]) if facts else None

    def _tube(self, bench: str, record: Mapping[str, Any]) -> None:
        if record.get("what") == "in":
            number = self.current.get(bench, 0) + 1
            self.current[bench] = number
            self.loadings[bench, number] = Loading(
                bench, str(record["id"]), number, net_kg=record.get("net_mass_kg")
            )
            return
        now = self.loadings.get((bench, self.current.get(bench, 0)))
        if now is not None and now.tube == record.get("id"):
            self.loadings[bench, now.loading] = msgspec.structs.replace(
                now, heel_kg=record.get("heel_kg"), taken_out=True
            )

    def _portion(
        self,
        bench: str,
        record: Mapping[str, Any],
        tolerances: Mapping[str, float],
        travel_m: float | None,
    ) -> None:
        asked, cutter = record.get("asked_m") or {}, record.get("cutter") or {}
        tube = str(record.get("tube") or "")
        now = self.loadings.get((bench, self.current.get(bench, 0)))
        if now is None or now.tube != tube:
            # Its tube came in before the first of these journals.
            number = self.current.get(bench, 0) + 1
            self.current[bench] = number
            now = self.loadings[bench, number] = Loading(bench, tube, number)
        self.portions[bench, record["number"]] = Made(
            bench=bench,
            number=record["number"],
            tube=tube,
            loading=now.loading,
            index=record["index"],
            group=record["group"],
            dough=record["dough"],
            aim_kg=record["aim_kg"],
            recipe=(asked.get("take_up"), asked.get("push"), asked.get("draw_back")),
            kind=record["class"],
            outcome=record["outcome"],
            position_m=record.get("position_m"),
            travel_m=travel_m,
            tolerance=tolerances.get(record["dough"]),
            by_hand=record.get("by_hand") or {},
            signals={
                "start_delay_s": cutter.get("start_delay_s"),
                "stroke_s": cutter.get("stroke_s"),
                "thrust_n": (record.get("thrust_n") or {}).get("at_cut"),
            },
        )

    def done(self) -> Weighed:
        """Return everything, each portion with its latest weight."""
        made = []
        for key, portion in sorted(self.portions.items()):
            readings = self.weights.pop(key, [])
            if readings:
                portion = msgspec.structs.replace(
                    portion,
                    mass_kg=float(readings[-1]["mass_kg"]),
                    readability_kg=readings[-1].get("readability_kg"),
                    readings=len(readings),
                )
            made.append(portion)
        return Weighed(tuple(made), tuple(self.loadings.values()), len(self.weights))
