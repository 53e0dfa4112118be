"""Portions and weights as flat rows: records of a journal, a column for each value.

A record that lacks a value, or has another type in its place, leaves that column empty: it was
written by another version, or altered, and the rest is still worth having.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from benchd.analysis.export_columns import PORTIONS, WEIGHTS, Column
from benchd.analysis.reader import JournalReader
from benchd.core import ledger

Path = tuple[str, ...]

PORTION_PATHS: dict[str, Path] = {
    "portion": ("number",),
    "asked_take_up_m": ("asked_m", "take_up"),
    "asked_push_m": ("asked_m", "push"),
    "asked_draw_back_m": ("asked_m", "draw_back"),
    "take_up_s": ("phase_s", "take-up"),
    "push_s": ("phase_s", "push"),
    "draw_back_s": ("phase_s", "draw-back"),
    "settle_s": ("phase_s", "settle"),
    "cut_s": ("phase_s", "cut"),
    "return_s": ("phase_s", "return"),
    "cutter_start_delay_s": ("cutter", "start_delay_s"),
    "cutter_stroke_s": ("cutter", "stroke_s"),
    "cutter_return_delay_s": ("cutter", "return_delay_s"),
    "cutter_return_s": ("cutter", "return_s"),
    "start_thrust_n": ("thrust_n", "start"),
    "peak_thrust_n": ("thrust_n", "peak"),
    "cut_thrust_n": ("thrust_n", "at_cut"),
    "least_eye_counts": ("eye", "min"),
    "mean_eye_counts": ("eye", "mean"),
    "cut_eye_counts": ("eye", "at_cut"),
    "gap_m": ("eye", "gap_m"),
    "least_air_pa": ("air_pa", "min"),
    "cut_air_pa": ("air_pa", "at_cut"),
    "least_supply_v": ("supply_v", "min"),
    "firmware_build": ("build",),
}
"""Where a column stands in the record; others stand under their own name."""

WEIGHT_PATHS: dict[str, Path] = {"typed": ("text",)}

_SHAPES: dict[str, tuple[type, ...]] = {
    "whole": (int,),
    "number": (int, float),
    "text": (str,),
    "yes-no": (bool,),
    "json": (dict,),
}
_FOUND_ELSEWHERE = frozenset(
    {"n", "t_ns", "time_utc", "mass_kg", "look", "began_ns", "began_utc", "began_board_us"}
)


class Weights:
    """The last weight of each portion of a journal."""

    def __init__(self, reader: JournalReader) -> None:
        self._by_portion: dict[int, dict[str, Any]] = {}
        for _, entry in reader.entries(kinds={ledger.RECORDS["weight"]}):
            try:
                row = weight_row(msgspec.json.decode(entry.text or "{}", type=dict[str, Any]))
            except (msgspec.MsgspecError, UnicodeError):
                continue
            if row["portion"] is not None:
                self._by_portion[row["portion"]] = row

    def of(self, portion: int | None) -> Mapping[str, Any]:
        """The last weight of a portion, as a row; empty when it was not weighed."""
        return {} if portion is None else self._by_portion.get(portion, {})


def weight_row(record: Mapping[str, Any]) -> dict[str, Any]:
    """One weight as a row."""
    return {
        column.name: _value(record, WEIGHT_PATHS.get(column.name, (column.name,)), column)
        for column in WEIGHTS
        if column.name not in ("n", "t_ns", "time_utc")
    }


def portion_row(record: Mapping[str, Any], weights: Weights) -> dict[str, Any]:
    """One portion as a row, with its last weight."""
    row = {
        column.name: _value(record, PORTION_PATHS.get(column.name, (column.name,)), column)
        for column in PORTIONS
        if column.name not in _FOUND_ELSEWHERE
    }
    weight = weights.of(row["portion"])
    row["mass_kg"], row["look"] = weight.get("mass_kg"), weight.get("look")
    phases = record.get("phases")
    first = phases[0] if isinstance(phases, list) and phases else None
    began = first if isinstance(first, dict) else {}
    row["began_ns"] = _shaped(began.get("t_ns"), "whole")
    row["began_board_us"] = _shaped(began.get("t_us"), "whole")
    return row


def _value(record: Mapping[str, Any], path: Path, column: Column) -> Any:
    value: Any = record
    for name in path:
        value = value.get(name) if isinstance(value, Mapping) else None
    return _shaped(value, column.type)


def _shaped(value: Any, kind: str) -> Any:
    if not isinstance(value, _SHAPES[kind]) or (kind != "yes-no" and isinstance(value, bool)):
        return None
    if kind == "json":
        return msgspec.json.encode(value).decode()
    if isinstance(value, int) and abs(value) >= 2**63:
        return None
    return float(value) if isinstance(value, int) and kind == "number" else value
