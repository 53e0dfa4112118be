"""The screen *Weigh*: weights typed one after the other into numbered cells."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tui import view
from tui.frame import Line, fold
from tui.screens.base import NUMBER_SIGNS, Desk, Field, Press, Screen, not_taken, number

LOOKS = ("", "clean", "tail", "squashed", "torn", "thrown")
CELL = 16
"""Columns of a cell."""

DOUBT_S = 60.0
"""Time to answer a question about a weight: nothing moves meanwhile."""


class Weigh(Screen):
    """Cells with the numbers of portions; digits go into the chosen one."""

    name = "Weigh"
    hints = (
        "digits, ENTER records  = after a portion's number  arrows choose  l look of the cut  "
        "u undo  backspace"
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._chosen: int | None = None
        self._field = Field("", NUMBER_SIGNS | {"="})
        self._look = ""
        self._done: list[tuple[int, float | None]] = []
        """Weights recorded here, newest last: portion, and the weight that it had before."""
        self._columns = 5

    def cells(self) -> list[int]:
        """Return the numbers of the cells: what is weighed, and what is not."""
        model = self.desk.model
        status = model.status
        unweighed = status.unweighed if status is not None else ()
        return sorted({*model.weights, *unweighed})

    def chosen(self) -> int | None:
        """Return the portion that is typed into: the one chosen, else the oldest unweighed."""
        cells = self.cells()
        if self._chosen in cells:
            return self._chosen
        status = self.desk.model.status
        if status is not None and status.unweighed:
            return status.unweighed[0]
        return cells[-1] if cells else None

    def lines(self, now_s: float, width: int, room: int) -> list[Line]:
        """Return the cells, and mean and rest."""
        model = self.desk.model
        status = model.shown(now_s)
        cells, chosen = self.cells(), self.chosen()
        if not cells or chosen is None:
            return fold("No portion is there to be weighed yet.", width)
        self._columns = max(width // CELL, 1)
        look = f"; look {self._look}" if self._look else ""
        named, _, typed = self._field.text.rpartition("=")
        lines = [Line(f"Portion {named or chosen}: {typed}_ g{look}", "strong"), Line("")]
        rows = [cells[at : at + self._columns] for at in range(0, len(cells), self._columns)]
        shown = max(room - 5, 1)
        at = next(n for n, numbers in enumerate(rows) if chosen in numbers)
        first = min(max(at - shown + 1, 0), max(len(rows) - shown, 0))
        for numbers in rows[first : first + shown]:
            lines.append(Line("".join(self._cell(one, chosen) for one in numbers)))
        lines.append(Line(""))
        row = view.weights_row(status) if status is not None else None
        if row is not None:
            lines += fold(row.text, width)
        return lines

    def _cell(self, portion: int, chosen: int) -> str:
        mass_kg = self.desk.model.weights.get(portion)
        text = view.weighed(mass_kg) if mass_kg is not None else "."
        sign = ">" if portion == chosen else " "
        return f"{sign}{portion:>5} {text}"[: CELL - 1].ljust(CELL)

    def pressed(self, press: Press) -> bool:
        """Type, choose, record, undo."""
        steps = {
            "left": -1,
            "right": 1,
            "up": -self._columns,
            "down": self._columns,
        }
        if press.key in steps:
            self._step(steps[press.key])
        elif press.key == "enter":
            self._record()
        elif press.key == "l":
            self._look = LOOKS[(LOOKS.index(self._look) + 1) % len(LOOKS)]
        elif press.key == "u":
            self._undo()
        elif press.key == "escape" and self._field.text:
            self._field.text = ""
        elif not self._field.press(press):
            if press.sign:
                self.desk.say(not_taken(press.sign), "watch")
            return False
        return True

    def _step(self, step: int) -> None:
        cells, chosen = self.cells(), self.chosen()
        if chosen is not None:
            at = min(max(cells.index(chosen) + step, 0), len(cells) - 1)
            self._chosen = cells[at]
            self._field.text = ""

    def _record(self) -> None:
        portion, typed = self.chosen(), self._field.text
        if portion is None:
            return
        if "weigh" in self.desk.model.busy:
            if not self._field.fresh:
                self.desk.say("The weight before is not recorded yet: ENTER once more.", "watch")
            return
        # It stays until it is recorded; the first sign of the next one replaces it.
        self._field.fresh = True
        if "=" in typed:
            named, _, typed = typed.rpartition("=")
            cells = self.cells()
            if not named.isdecimal() or int(named) not in cells:
                self.desk.say(
                    f"There is no portion {named or '-'} to be weighed here: {cells[0]} to "
                    f"{cells[-1]}.",
                    "watch",
                )
                return
            portion = int(named)
        grams = number(typed)
        if grams is None:
            what = f"'{typed}' is no weight in g" if typed else "No weight was typed"
            self.desk.say(f"{what}: type it as 31.8 or 31,8, or as 12=31.8.", "watch")
            return
        params = {"mass_kg": grams / 1e3, "text": typed, "portion": portion, "look": self._look}
        self._send(params)

    def _send(self, params: dict[str, Any]) -> None:
        before = self.desk.model.weights.get(params["portion"])

        def recorded(result: Mapping[str, Any]) -> None:
            portion, mass_kg = result["portion"], result["mass_kg"]
            self._done.append((portion, before))
            self.desk.model.weights[portion] = mass_kg
            self._chosen, self._look = None, ""
            if self._field.fresh:
                self._field.text = ""
            again = f", {view.weighed(before)} before" if before is not None else ""
            left = f"; {result['left']} not weighed yet" if result["left"] else ""
            self.desk.say(f"Portion {portion}: {view.weighed(mass_kg)}{again}{left}.")

        def doubted(text: str) -> None:
            # What was typed meanwhile was meant for another cell.
            ahead = "" if self._field.fresh else self._field.text
            lost = f"'{ahead}' was typed meanwhile and not taken. " if ahead else ""
            self._field.text = ""
            self._chosen = params["portion"]
            self.desk.confirm(
                f"{lost}Portion {params['portion']}: {text} Record it as it is?",
                lambda: self._send({**params, "confirmed": True}),
                DOUBT_S,
                firm=True,
            )

        self.desk.ask("weigh", params, recorded, on_question=doubted)

    def _undo(self) -> None:
        if not self._done:
            self.desk.say("No weight was recorded from this screen, so there is nothing to undo.")
            return
        portion, before = self._done.pop()
        self._chosen = portion
        self._field.text = ""
        weights = self.desk.model.weights
        if before is None:

            def gone(_: Any) -> None:
                weights.pop(portion, None)
                self.desk.say(f"Portion {portion} has no weight any more; the journal keeps both.")

            self.desk.ask("unweigh", {"portion": portion}, gone)
            return
        params = {"mass_kg": before, "text": f"{before * 1e3:.9g}", "portion": portion}
        done = f"Portion {portion} has its {view.weighed(before)} again; the journal keeps both."

        def undone(_: Any) -> None:
            weights[portion] = before
            self.desk.say(done)

        self.desk.ask("weigh", {**params, "confirmed": True}, undone)
