"""Entries of a journal in words: one table, kind to words; values as they stand where it has
none."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from tui import ended, view

VALUE_WIDTH = 60
"""A value that is shown as it stands is cut here."""


def told(kind: str, data: dict[str, Any]) -> str:
    """Return one entry in words; the values as they stand where there are no words for it."""
    words = WORDS.get(kind)
    if words is not None:
        try:
            return words(data)
        except (LookupError, TypeError, AttributeError, ValueError):
            pass  # Written by another version: its values are shown as they are.
    return _values(data)


def _values(data: dict[str, Any]) -> str:
    shown = ", ".join(f"{name} {_short(value)}" for name, value in data.items() if value != "")
    return shown or "-"


def _short(value: object) -> str:
    text = value if isinstance(value, str) else _plain(value)
    return text if len(text) <= VALUE_WIDTH else f"{text[: VALUE_WIDTH - 3]}..."


def _plain(value: object) -> str:
    # A whole number is itself in JSON, and most values are.
    return str(value) if type(value) is int else json.dumps(value)


def _weight(data: dict[str, Any]) -> str:
    if data["mass_kg"] is None:
        return f"portion {data['portion']}: weight taken back"
    look = f", {data['look']}" if data.get("look") else ""
    return f"portion {data['portion']}: {view.weighed(data['mass_kg'])}{look}"


def _trip(data: dict[str, Any]) -> str:
    return f"{data['interlock']} {'up: ' + data['text'] if data['up'] else 'cleared'}"


def _move(data: dict[str, Any]) -> str:
    where = view.millimetres(data["position_m"], 2)
    return f"{data['kind']} {data['ending']}, feed at {where}"


def _stroke(data: dict[str, Any]) -> str:
    names = {"start_delay_s": "start", "stroke_s": "stroke", "return_s": "return"}
    times = data["cutter"]
    shown = ", ".join(
        f"{word} {times[name] * 1e3:.0f} ms"
        for name, word in names.items()
        if times[name] is not None
    )
    return f"dry stroke {data['outcome']}: {shown or 'not timed'}"


def _series(data: dict[str, Any]) -> str:
    of = "" if data["count"] is None else f" of {data['count']}"
    reason = f": {data['reason']}" if data["reason"] else ""
    return f"series {data['what']}, {data['made']}{of} made{reason}"


def _tube(data: dict[str, Any]) -> str:
    if data["what"] == "out":
        return f"tube {data['id']} out after {data['portions']} portions"
    if data["what"] == "contact":
        return f"tube {data['id']}: somebody said that the plunger touches the dough"
    lot = f", lot {data['lot']}" if data.get("lot") else ""
    mass_kg = data.get("net_mass_kg")
    net = f", {view.grams(mass_kg, 0)}" if mass_kg is not None else ""
    return f"tube {data['id']} in{lot}{net}"


def _control(data: dict[str, Any]) -> str:
    if data["client"] is None:
        return "nobody has control"
    return f"client {data['client']} has control"


def _by_hand(data: dict[str, Any]) -> str:
    return f"set by hand: {_values(data['values'])}; group {data['group']}"


def _greeting(data: dict[str, Any]) -> str:
    return (
        f"board {data['board']}, firmware {data['firmware']}, boot {data['boot']}, "
        f"up for {data['uptime_s']} s (cause: {data['cause']})"
    )


def _input(data: dict[str, Any]) -> str:
    name = data["input"]
    if name == "asked":
        return f"client {data['client']} asked: {data['method']} {_short(data['params'])}"
    if name == "gone":
        return f"client {data['client']} went away"
    words = {"opened": "the daemon started", "link-up": "the port is open", "wake": "time to look"}
    return words.get(name) or _values(data)


def _decision(data: dict[str, Any]) -> str:
    name = data["effect"]
    if name == "send":
        return f"sent: {data['line']}"
    if name == "stop":
        return f"sent: stop {data['level']}"
    if name == "answer":
        return f"answered client {data['client']}: {_short(data['result'])}"
    if name == "refuse":
        return f"refused client {data['client']}: {data['message']}"
    return _values(data)


def _alarm(data: dict[str, Any]) -> str:
    by = f" by {data['name']}" if data["name"] else ""
    lasts = f" for {data['for_s'] / 60:.0f} min" if "for_s" in data else ""
    why = f": {data['text']}" if data["text"] else ""
    return f"{data['interlock']} {data['what']}{lasts}{by}{why}"


WORDS: dict[str, Callable[[dict[str, Any]], str]] = {
    "portion": ended.portion_line,
    "weight": _weight,
    "trip": _trip,
    "alarm": _alarm,
    "move": _move,
    "stroke": _stroke,
    "series": _series,
    "tube": _tube,
    "control": _control,
    "by_hand": _by_hand,
    "greeting": _greeting,
    "message": lambda data: str(data["text"]),
    "note": lambda data: str(data["text"]),
    "refusal": lambda data: f"the board refused '{data['command']}': {data['text']}",
    "proof": lambda data: (
        f"{data['interlock']} proven by {data['name']}: {', '.join(data['words'])}"
    ),
    "eye": lambda data: f"eye taught {data['what']}: {data['mean']:.0f} +- {data['spread']:.1f}",
    "link": lambda data: f"link {'up' if data['up'] else 'down'}: {data['text']}",
    "gap": lambda data: f"events {data['first']} to {data['last']} never came",
    "told": _input,
    "decision": _decision,
}
"""Kind of entry to its words."""
