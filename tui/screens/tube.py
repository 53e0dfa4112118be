"""The screen *Tube*: dough in, primed, out; the eye taught; what its record says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from tui import ended, view
from tui.frame import Line, row
from tui.screens.base import (
    NUMBER_SIGNS,
    Field,
    Press,
    Screen,
    a_name,
    a_number,
    is_refused,
    loaded_words,
    number,
    relieve,
)
from tui.screens.feed import thrust_words
from tui.screens.watch import others_control

if TYPE_CHECKING:
    from protocols.status import BenchStatus

DOUBT_S = 60.0
"""Time to answer a question about a tube's mass: nothing moves meanwhile."""

NO_FLOW = (
    "No dough came: casing not open, plunger past the tube, or nozzle blocked. Do not keep "
    "pushing, the barrel stores force: r relieves, then look."
)


def _number_if_any(text: str) -> str:
    return a_number(text) if text else ""


def _mass_if_any(text: str) -> str:
    grams = number(text)
    if grams is None or 0 < grams < 100_000:
        return _number_if_any(text)
    return "A net mass is above 0 g and below 100 kg."


class Tube(Screen):
    """Open the record, feed to contact, prime, take out."""

    name = "Tube"
    hints = (
        "b begin its record  a feed to contact  k it touches  m prime  r relieve  o take it out  "
        "e eye without dough  y eye with dough"
    )
    cautions = "tube"
    moving = frozenset("akmroey")

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return the tube, its latest moves, what is still to be done."""
        model = self.desk.model
        status = model.shown(now_s)
        if status is None:
            return row("Tube", "nothing is known of the bench yet", width)
        lines = row("Tube", view.tube_row(status).text, width, "strong")
        record = record_words(status)
        if record:
            lines += row("Record", record, width)
        for piece in [one for one in model.news if one.topic == "tube"][-2:]:
            lines += row("Heard", f"{piece.at} {heard_words(piece.data)}", width)
        lines += row("Feed", view.feed_row(status).text, width)
        lines += row("Thrust", thrust_words(status), width)
        eye = view.eye_row(status)
        lines += row("Eye", eye.text if eye is not None else "none is read now", width)
        if model.last_move is not None:
            lines += row("Last", ended.how_far(model.last_move), width)
        lines += others_control(model, width)
        why = status.why_not.get("prime")
        if why:
            lines += row("Refused", why, width, "watch")
        return lines

    def pressed(self, press: Press) -> bool:
        """Take a key."""
        keys: dict[str, Callable[[], None]] = {
            "b": self._begin,
            "a": self._approach,
            "k": self._touches,
            "m": self._prime,
            "r": lambda: relieve(self.desk),
            "o": self._out,
            "e": lambda: self._teach("empty", "nothing may stand before it"),
            "y": lambda: self._teach("dough", "dough must stand before it"),
        }
        do = keys.get(press.key)
        if do is not None:
            do()
        return do is not None

    def _begin(self) -> None:
        fields = [
            Field("Name of the tube, such as T7", check=a_name),
            Field("Net mass in g (empty: not weighed)", NUMBER_SIGNS, check=_mass_if_any),
            Field(
                "Dough temperature in C (empty: not measured)", NUMBER_SIGNS, check=_number_if_any
            ),
        ]
        self.fill_in(fields, self._open)

    def _open(self, texts: list[str]) -> None:
        name, net, temperature = texts
        params: dict[str, Any] = {"id": name}
        for key, text, factor in (("net_mass_kg", net, 1e-3), ("temperature_c", temperature, 1.0)):
            if text:
                params[key] = (number(text) or 0.0) * factor
        self._send(params)

    def _send(self, params: dict[str, Any]) -> None:
        def doubted(text: str) -> None:
            self.desk.confirm(
                f"{text} Open the record as it is?",
                lambda: self._send({**params, "confirmed": True}),
                DOUBT_S,
                firm=True,
            )

        def opened(result: Mapping[str, Any]) -> None:
            self.desk.say(f"The record of tube {result['id']} is open; next: a, then m.")

        self.desk.ask("tube_in", params, opened, on_question=doubted)

    def _measured(self) -> bool:
        status = self.desk.model.status
        return status is not None and "thrust" not in status.not_watched

    def _approach(self) -> None:
        if is_refused(self.desk, "prime"):
            return
        if self._measured():
            way, after = "forward to the dough", ""
        else:
            way = "2 mm toward the dough, for no sensor measures contact"
            after = " Look at the plunger: k if it touches the dough, a for 2 mm more."

        def moved(result: Mapping[str, Any]) -> None:
            self.desk.say(f"{ended.moved_text(result)}{after}")

        self.desk.confirm(
            f"will feed {way}; {loaded_words(self.desk.model)}",
            lambda: self.desk.ask("approach", {}, moved),
        )

    def _touches(self) -> None:
        self.desk.confirm(
            "You looked, and the plunger touches the dough",
            lambda: self.desk.ask(
                "contact", {}, lambda _: self.desk.say("Contact is recorded; next: m primes.")
            ),
        )

    def _prime(self) -> None:
        if is_refused(self.desk, "prime"):
            return
        status = self.desk.model.status
        if status is not None and status.eye_counts is not None and status.eye_sees is None:
            self.desk.say(
                "Nothing was moved: the eye was never taught, so no dough would ever be seen and "
                "the feed would push on. Teach it first: e, then y.",
                "watch",
            )
            return

        def primed(result: Mapping[str, Any]) -> None:
            if result["ending"] == "no-flow":
                self.desk.say(NO_FLOW, "watch")
            else:
                word = "Primed" if result["ending"] == "flowing" else "Not primed"
                self.desk.say(f"{word}: {ended.moved_text(result)}")

        self.desk.confirm(
            f"will feed until the strand is continuous; {loaded_words(self.desk.model)}",
            lambda: self.desk.ask("prime", {}, primed),
        )

    def _out(self) -> None:
        if is_refused(self.desk, "tube_out"):
            return

        def out(result: Mapping[str, Any]) -> None:
            self.desk.say(f"Backed out ({result['ending']}). {result.get('open') or ''}".strip())

        self.desk.confirm(
            f"will relieve the barrel and back the plunger out; {loaded_words(self.desk.model)}",
            lambda: self.desk.ask("tube_out", {}, out),
        )

    def _teach(self, what: str, before: str) -> None:
        def taught(level: Mapping[str, Any]) -> None:
            text = f"The eye reads {level['mean']:.0f} counts (spread {level['spread']:.1f})."
            self.desk.say(text if level["both"] else f"{text} The other level is missing.")

        self.desk.confirm(
            f"will read the eye for some seconds; {before}, and nothing may move",
            lambda: self.desk.ask("teach", {"what": what}, taught),
        )


def record_words(status: BenchStatus) -> str:
    """Return what was said of the tube as it came in; "" where nothing was, or none is in."""
    parts = []
    if status.tube_net_kg is not None:
        parts.append(f"net {view.grams(status.tube_net_kg, 0)}")
    if status.tube_temperature_c is not None:
        parts.append(f"{status.tube_temperature_c:.1f} C as it came in")
    return "; ".join(parts)


def heard_words(data: Mapping[str, Any]) -> str:
    """Return a piece of news of a tube in words."""
    words = f"tube {data.get('id')} {data.get('what')}"
    if data.get("portions") is not None:
        words += f", {view.several(data['portions'], 'portion')}"
    return words
