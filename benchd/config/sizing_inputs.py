"""Two cards as inputs of the sizing sheet: which values were measured, and which stand for one."""

from __future__ import annotations

from benchd.calc.sizing import READ
from benchd.calc.sizing.base import Input
from benchd.config.bench import bench_values, fill_in
from benchd.config.bench_checks import step_angle
from benchd.config.bench_keys import BENCH_KEYS, DENSITY_KG_M3
from benchd.config.dough import DOUGH_KEYS, dough_values
from benchd.config.errors import Problems
from benchd.config.keys import OPTIONAL, REQUIRED, Key, Values, read_one
from benchd.config.quantity import QuantityError
from protocols.limits import LIMIT_BY_NAME

ANGLE = "feed.step_angle"
"""Another word for `feed.steps_per_turn`."""

ON_CARDS: dict[str, Key] = {key.path: key for key in (*BENCH_KEYS, *DOUGH_KEYS)}
"""Every key of either card, by its path."""

KEYS: dict[str, Key] = {
    path: key for path, key in ON_CARDS.items() if path in READ or path == ANGLE
}
"""Those that a line of the sheet rests on."""

ON_BENCH = frozenset(key.path for key in BENCH_KEYS)

RATE_UNIT = "1/s"
REPEATABILITY = 0.5
"""Spread of a hobby scale's repeated readings, in its steps (0.3 to 0.7 is common practice)."""


class Cards:
    """The values of a bench card and perhaps a dough card, and what is tried otherwise."""

    def __init__(self, bench: Values, dough: Values | None) -> None:
        self.bench = bench
        self.dough = dough

    def change(self, path: str, text: str) -> None:
        """Put another value in, written as on a card; what it does, the sheet shows.

        What a card leaves out follows again.

        Raises: QuantityError when it cannot be read or is out of range.
        """
        values = self.bench if self.dough is None or path in ON_BENCH else self.dough
        value = read_one(KEYS[path], text)
        if path == ANGLE:
            values.drop("feed.steps_per_turn")
        values.set(path, value, 1, text)
        for _, sentence in step_angle(values):
            raise QuantityError(f"is refused: {sentence}")
        fill_in(values)
        values.drop(ANGLE)

    def untuned(self) -> None:
        """Leave out the stroke, which was tuned for another aim."""
        if self.dough is not None:
            self.dough.drop("stroke")


def read_cards(bench: str, bench_name: str, dough: str | None, dough_name: str) -> Cards:
    """Return two cards for sizing; the dough card may be left out.

    A bench is sized before it is proven, so a dough that does not fit it yet is no mistake here.

    Raises: CardError with one sentence a mistake.
    """
    problems = Problems(bench_name)
    bench_read = bench_values(bench, problems)
    problems.raise_if_any()
    if dough is None:
        return Cards(bench_read, None)
    problems = Problems(dough_name)
    dough_read = dough_values(dough, problems)
    problems.raise_if_any()
    return Cards(bench_read, dough_read)


def inputs_of(cards: Cards) -> dict[str, Input]:
    """Return every input that the cards give, by its key, SI."""
    found = {"board.rate_max": Input(float(LIMIT_BY_NAME["speed_max"].high), RATE_UNIT)}
    _add(found, cards.bench)
    if cards.dough is not None:
        _add(found, cards.dough)
    else:
        found = {**_stand_in(cards.bench), **found}
    step = found["scale.readability"].value
    if "scale.repeatability" not in found and not isinstance(step, str):
        found["scale.repeatability"] = Input(REPEATABILITY * step, "g", guessed=True)
    found["air.least"] = Input("given" if "limits.air_min" in found else "open")
    found["stroke.given"] = Input("yes" if "stroke" in found else "no")
    return found


def _add(found: dict[str, Input], values: Values) -> None:
    guessed = values.names("guessed")
    for path, value in values.all().items():
        if path not in READ or isinstance(value, bool | frozenset):
            continue
        key = KEYS[path]
        guess = path in guessed or not values.given(path)
        unit = "%" if key.kind == "share" else key.unit
        found[path] = Input(value if isinstance(value, str) else float(value), unit, guess)


def _stand_in(bench: Values) -> dict[str, Input]:
    """Return common practice for a dough that nobody described."""
    found: dict[str, Input] = {}
    for key in DOUGH_KEYS:
        if key.default in (REQUIRED, OPTIONAL) or key.path not in READ:
            continue
        value = read_one(key, key.default)
        unit = "%" if key.kind == "share" else key.unit
        if not isinstance(value, bool | frozenset):
            value = value if isinstance(value, str) else float(value)
            found[key.path] = Input(value, unit, guessed=True)
    found["density"] = Input(DENSITY_KG_M3, "g/cm3", guessed=True)
    found["push_speed"] = Input(bench.number("feed.top_speed"), "mm/s", guessed=True)
    return found
