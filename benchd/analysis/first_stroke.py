"""The stroke that the limit of all changes counts from. It does not move on from day to day, so
that a leak or lost steps are not chased by stroke."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import msgspec

from benchd.analysis.charts import Baseline
from benchd.analysis.reader import Reader
from benchd.analysis.weighed import Made
from benchd.core import ledger
from benchd.io.journal_format import META_BENCH, opened_us_of


class First(NamedTuple):
    """A stroke [m] and where it stands: in limits of a version, or in a journal of this name."""

    stroke_m: float
    version: int | None = None
    journal: str = ""
    opened_us: int = 0


def frozen_stroke(frozen: Sequence[Baseline], like: Made) -> First | None:
    """Return the stroke of the newest frozen limits of a portion's bench, dough and aim."""
    for one in sorted(frozen, key=lambda one: one.version, reverse=True):
        stroke_m = one.recipe[1]
        if (one.bench, one.dough, one.aim_kg) == (like.bench, like.dough, like.aim_kg) and stroke_m:
            return First(stroke_m, version=one.version)
    return None


def journal_stroke(readers: Iterable[Reader], like: Made) -> First | None:
    """Return the first stroke of a portion's bench, dough and aim in journals, oldest first.

    Raises: JournalError when one cannot be read.
    """
    for reader in readers:
        stroke_m = _first_in(reader, like) if reader.meta.get(META_BENCH) == like.bench else None
        if stroke_m:
            opened_us = opened_us_of(reader.meta) or 0
            return First(stroke_m, journal=reader.path.name, opened_us=opened_us)
    return None


class _Asked(msgspec.Struct):
    push: float | None = None


class _Portion(msgspec.Struct):
    """What is read of a portion's record."""

    dough: str
    aim_kg: float
    asked_m: _Asked | None = None


def _first_in(reader: Reader, like: Made) -> float | None:
    for _, entry in reader.entries(kinds={ledger.RECORDS["portion"]}):
        try:
            told = msgspec.json.decode(entry.text or "{}", type=_Portion)
        except msgspec.MsgspecError:
            continue
        if (told.dough, told.aim_kg) == (like.dough, like.aim_kg) and told.asked_m is not None:
            if told.asked_m.push:
                return told.asked_m.push
    return None
