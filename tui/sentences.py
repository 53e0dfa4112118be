"""What changed, as sentences: for the journal's screen, for logs and for screen readers. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from tui import ended, view

if TYPE_CHECKING:
    from protocols.status import BenchStatus

Said = Mapping[str, Any]


def _trip(data: Said) -> str:
    if data.get("up"):
        return f"{data.get('interlock')} is up: {data.get('text')}"
    return f"{data.get('interlock')} is gone."


def _weight(data: Said) -> str:
    if data["mass_kg"] is None:
        return f"The weight of portion {data['portion']} was taken back."
    look = f", looks {data['look']}" if data.get("look") else ""
    return f"Portion {data['portion']} weighs {view.weighed(data['mass_kg'])}{look}."


def _series(data: Said) -> str:
    of = f" of {data['count']}" if data.get("count") else ""
    why = f": {str(data['reason']).rstrip('.')}" if data.get("reason") else ""
    return f"Series {data['what']}, {data['made']}{of} made{why}."


def _portion(data: Said) -> str:
    line = ended.portion_line(data)
    return f"{line[:1].upper()}{line[1:]}."


def _stroke(data: Said) -> str:
    return f"Dry stroke {data['outcome']}."


def _tube(data: Said) -> str:
    return f"Tube {data.get('id')}: {data.get('what')}."


def _link(data: Said) -> str:
    if data.get("up"):
        return "The board answers."
    return f"The link to the board is down: {data.get('text')}"


def _proof(data: Said) -> str:
    return f"{data.get('interlock')} was proven by {data.get('name')}."


ALARM = {
    "seen": "{interlock} was seen{by}.",
    "shelved": "{interlock} is shelved for {minutes:.0f} min{by}: {text}.",
    "back": "{interlock} is back from the shelf, for {text}.",
}
"""What was made of an alarm to its sentence."""


def _alarm(data: Said) -> str:
    by = f" by {data['name']}" if data.get("name") else ""
    minutes = data.get("for_s", 0.0) / 60
    code, text = data["interlock"], str(data["text"]).rstrip(".")
    return ALARM[data["what"]].format(interlock=code, by=by, minutes=minutes, text=text)


def seen_text(result: Said) -> str:
    """Return which alarms were seen, out of the answer to `seen`."""
    codes = ", ".join(result["seen"])
    if not codes:
        return "No alarm waits to be seen."
    return f"Seen: {codes}. No interlock is changed by that."


SENTENCES: dict[str, Callable[[Said], str]] = {
    "portion": _portion,
    "trip": _trip,
    "alarm": _alarm,
    "weight": _weight,
    "series": _series,
    "move": ended.moved_text,
    "stroke": _stroke,
    "tube": _tube,
    "note": lambda data: f"Note: {data.get('text', '')}",
    "refusal": lambda data: f"The board refused '{data['command']}': {data['text']}",
    "proof": _proof,
    "control": lambda data: f"Client {data.get('client')} is in control.",
    "link": _link,
    "message": lambda data: str(data.get("text", "")),
}
"""Topic to its sentence, in the order in which kinds are chosen; what is not here is for
programs."""


def news_sentence(topic: str, data: Said) -> str:
    """Return a piece of news as one sentence, or "" when it is not for people.

    News of a daemon of another version may lack a field: then its topic alone is said.
    """
    make = SENTENCES.get(topic)
    if make is None:
        return ""
    try:
        return view.plain(make(data))
    except (KeyError, TypeError, ValueError):
        return f"News of a {topic} that cannot be read here."


def changes(before: BenchStatus | None, after: BenchStatus) -> Iterator[str]:
    """Give a sentence for each thing that a person should hear of between two statuses.

    Numbers that drift are not among them, nor what `news_sentence` says of the same moment.
    """
    old = view.is_old(after)
    if before is None or _state_words(before) != _state_words(after):
        yield view.plain(f"The bench is {_state_words(after)}.")
    if before is None or view.is_old(before) != old or _energy(before) != _energy(after):
        yield view.plain(f"Energy: {view.energy_row(after).text}.")
    watched = view.not_watched_row(after)
    if (before is None and watched) or (before and view.not_watched_row(before) != watched):
        yield view.plain(f"Not watched: {watched.text}." if watched else "All is watched again.")
    if before is None or {one.code for one in before.abnormals} != {
        one.code for one in after.abnormals
    }:
        known = {one.code for one in before.abnormals} if before else set()
        for one in after.abnormals:
            if one.code not in known:
                label = view.RANKS.get(one.rank, "")
                yield view.plain(f"{label} {one.code}: {one.what} {one.so_what} {one.do_what}")
    if before is not None and before.controller != after.controller:
        who = after.controller or "nobody"
        yield view.plain(f"In control is {who}.")


def _state_words(status: BenchStatus) -> str:
    """The state with its phase; what it waits for holds times, and is left to the screens."""
    phase = f" {status.phase}" if status.phase and status.phase != "none" else ""
    return f"{status.state}{phase}"


def _energy(status: BenchStatus) -> tuple[str, ...]:
    """The energy line without its numbers, which drift."""
    texts = (status.barrel, status.air, status.coils)
    return tuple(" ".join(w for w in text.split() if not w[:1].isdigit()) for text in texts)
