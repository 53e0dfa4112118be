"""SenML packs in their JSON form (RFC 8428): how measured values are written for other programs.

A pack is a list of records. A base name, base time or other base value holds for its own record
and for all after it, so that a pack says them once. *Resolved* records say everything themselves.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import msgspec

VERSION = 10
"""The version of SenML that RFC 8428 defines."""

RELATIVE_BELOW_S = 2.0**28
"""A time below this counts from now; from it on, from 1970-01-01 UTC (RFC 8428, section 4.5.3)."""

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")
"""A resolved name (RFC 8428, section 4.5.1)."""

UNITS = frozenset({"m", "kg", "s", "N", "Pa", "V", "Cel", "/", "count"})
"""The units that this program writes, all of the registry of RFC 8428, section 12.1. "/" is a
ratio, "Cel" a degree Celsius."""


class SenmlError(ValueError):
    """This is no pack, or cannot become one; the text says why."""


class Record(
    msgspec.Struct,
    frozen=True,
    omit_defaults=True,
    rename={
        "base_name": "bn",
        "base_time_s": "bt",
        "base_unit": "bu",
        "base_value": "bv",
        "base_sum": "bs",
        "base_version": "bver",
        "name": "n",
        "unit": "u",
        "value": "v",
        "text": "vs",
        "truth": "vb",
        "data": "vd",
        "sum": "s",
        "time_s": "t",
        "update_s": "ut",
    },
):
    """One record with the labels of RFC 8428, section 4; None where a label is absent."""

    base_name: str | None = None
    base_time_s: float | None = None
    base_unit: str | None = None
    base_value: float | None = None
    base_sum: float | None = None
    base_version: int | None = None
    name: str | None = None
    unit: str | None = None
    value: float | None = None
    text: str | None = None
    truth: bool | None = None
    data: str | None = None
    sum: float | None = None
    time_s: float | None = None
    update_s: float | None = None


LABELS = frozenset(Record.__struct_encode_fields__)


class Field(NamedTuple):
    """One value of a pack to be written: its name after the base name, the value, its unit.

    A field whose value is None is left out: it was not measured.
    """

    name: str
    value: float | bool | str | None
    unit: str = ""


def pack(base_name: str, time_s: float | None, fields: Iterable[Field]) -> bytes:
    """Return a pack as JSON.

    Parameters: base_name: what stands before every name; time_s: [s since 1970 UTC], None for a
    pack whose moment nobody can know beforehand; fields: the values, SI.
    Raises: SenmlError for a name or unit that SenML does not allow, a value that is not finite,
    and a pack without any value.
    """
    given = [field for field in fields if field.value is not None]
    if not given:
        raise SenmlError("A pack needs at least one value.")
    records = [_record(base_name, field) for field in given]
    first = msgspec.structs.replace(records[0], base_name=base_name, base_time_s=time_s)
    return msgspec.json.encode([first, *records[1:]])


def _record(base_name: str, field: Field) -> Record:
    if not NAME.fullmatch(base_name + field.name):
        raise SenmlError(f"'{base_name}{field.name}' is no name in SenML.")
    if field.unit and field.unit not in UNITS:
        raise SenmlError(f"'{field.unit}' is no unit that is written here.")
    name, value = field.name or None, field.value
    if isinstance(value, bool):
        return Record(name=name, truth=value)
    if isinstance(value, str):
        return Record(name=name, text=value)
    assert value is not None  # The caller has left those out.
    if not math.isfinite(value):
        raise SenmlError(f"'{field.name}' is {value}, which JSON cannot say.")
    return Record(name=name, unit=field.unit or None, value=value)


def decode(data: bytes | str) -> tuple[Record, ...]:
    """Return the records of a pack in JSON, as they stand.

    Raises: SenmlError for what is no pack, and for a label with "_" at its end that is not known:
    it must be understood (RFC 8428, section 4.4). Other unknown labels are passed over.
    """
    try:
        raw = msgspec.json.decode(data, type=list[dict[str, Any]])
        records = msgspec.convert(raw, tuple[Record, ...])
    except msgspec.MsgspecError as error:
        raise SenmlError(f"This is no SenML pack: {error}.") from error
    unknown = {label for one in raw for label in one if label.endswith("_")} - LABELS
    if unknown:
        raise SenmlError(f"The pack has labels that must be understood: {sorted(unknown)}.")
    return records


def resolve(records: Sequence[Record], now_s: float) -> tuple[Record, ...]:
    """Return the records of a pack with their base values applied, in the pack's order.

    Parameters: now_s: [s since 1970 UTC], for times that count from now.
    Raises: SenmlError for a later or mixed version, a name that is none, a record without exactly
    one value or a sum. Source: RFC 8428, section 4.6.
    """
    versions = {one.base_version for one in records if one.base_version is not None}
    if len(versions) > 1 or max(versions, default=VERSION) > VERSION:
        raise SenmlError(f"Versions {sorted(versions)}; this program knows {VERSION}.")
    version = next(iter(versions - {VERSION}), None)
    base = Record()
    resolved = []
    for one in records:
        base = _carried(base, one)
        resolved.append(_resolve_one(base, one, now_s, version))
    return tuple(resolved)


def _carried(base: Record, one: Record) -> Record:
    """The base values in force at a record: its own, else those before it."""
    own = {
        label: value
        for label in ("base_name", "base_time_s", "base_unit", "base_value", "base_sum")
        if (value := getattr(one, label)) is not None
    }
    return msgspec.structs.replace(base, **own)


def _resolve_one(base: Record, one: Record, now_s: float, version: int | None) -> Record:
    name = (base.base_name or "") + (one.name or "")
    if not NAME.fullmatch(name):
        raise SenmlError(f"'{name}' is no name in SenML.")
    values = [value for value in (one.value, one.text, one.truth, one.data) if value is not None]
    if len(values) > 1 or (not values and one.sum is None):
        raise SenmlError(f"'{name}' has {len(values)} values.")
    time_s = (base.base_time_s or 0.0) + (one.time_s or 0.0)
    return Record(
        base_version=version,
        name=name,
        unit=one.unit or base.base_unit,
        value=None if one.value is None else one.value + (base.base_value or 0.0),
        text=one.text,
        truth=one.truth,
        data=one.data,
        sum=None if one.sum is None else one.sum + (base.base_sum or 0.0),
        time_s=time_s if time_s >= RELATIVE_BELOW_S else now_s + time_s,
        update_s=one.update_s,
    )
