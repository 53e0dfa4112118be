"""A status of a bench where nothing is going on, for tests to change what they are about."""

from __future__ import annotations

from typing import Any

import msgspec

from protocols.status import BenchStatus

STATUS = BenchStatus(
    bench="maize",
    state="READY",
    phase="",
    waits_for="",
    barrel="8 N low",
    air="2.0 bar live",
    coils="drive live, valve off",
    not_watched=(),
    position_m=0.05,
    position_known=True,
    tube="T7",
    tube_left_portions=9,
    tube_left_m=0.14,
    dough="masa",
    aim_kg=0.03,
    portion=3,
    last=None,
    series=None,
    unweighed=(),
    mean_kg=None,
    n_weighed=0,
    thrust_n=8.0,
    air_pa=2e5,
    supply_v=5.0,
    eye_counts=640,
    eye_sees=True,
    eye_taught=(120, 640),
    pins={"guard": True, "drive": True},
    abnormals=(),
    link_age_s=0.05,
    controller="",
    board="firmware 0.1.0",
    clock_error_s=0.0005,
    lines_bad=0,
    samples_lost=0,
    journal="a.journal",
    journal_ok=True,
    now_ns=1,
)


def told(**changes: Any) -> dict[str, Any]:
    """Return that status as the daemon tells it, with some fields changed."""
    said: dict[str, Any] = msgspec.to_builtins(msgspec.structs.replace(STATUS, **changes))
    return said
