"""Makes the pictures of the README from the real screens: `python -m tests.tui.pictures`.

A test compares, so that no picture can go stale.
"""

from __future__ import annotations

import asyncio
import re
from pathlib import Path
from typing import Any

from protocols.status import Abnormal, LastPortion, SeriesStatus
from tests.quiet_status import STATUS, told
from tui.app import Screens

FOLDER = Path(__file__).parents[2] / "tui" / "pictures"
WEIGHTS_G = (31.0, 29.4, 30.1, 30.3, 29.8, 30.6, 29.9, 30.2, 29.6, 30.4, 30.2)
SIZE = (100, 24)

IN_A_SERIES: dict[str, Any] = {
    "state": "PORTIONING",
    "phase": "push",
    "waits_for": "push to end",
    "barrel": "204 N loaded",
    "not_watched": ("cutter far end",),
    "position_m": 0.1284,
    "tube_left_m": 0.094,
    "tube_left_portions": 6,
    "portion": 12,
    "last": LastPortion(11, "normal", "complete", 0.0302),
    "series": SeriesStatus(11, 22, 8.0, 5.4, False, False),
    "mean_kg": 0.03014,
    "n_weighed": 11,
    "odd": (1, 5),
    "controller": "client 3",
    "supply_v": 4.99,
    "thrust_n": 204.0,
    "bounds": {
        "thrust_n": (None, 400.0),
        "air_pa": (1.5e5, 6e5),
        "supply_v": (4.5, None),
        "odd": (-0.08, 0.08),
    },
}

DOUGH_GONE: dict[str, Any] = {
    **IN_A_SERIES,
    "state": "TRIPPED",
    "phase": "",
    "waits_for": "IL-09 to be cleared",
    "abnormals": (
        Abnormal(
            "IL-09",
            3,
            "No dough for 15.0 mm of strand: end of the tube, a void, or a dirty eye?",
            "The feed stopped and nothing was cut.",
            "Look, then 'benchd clear IL-09'.",
            STATUS.now_ns - 12_000_000_000,
            True,
            "ack",
        ),
    ),
    "series": SeriesStatus(11, 22, 8.0, None, True, False, "IL-09"),
    "why_not": {"portion": "IL-09: No dough.", "series": "IL-09: No dough."},
}

PICTURES: dict[str, tuple[str, dict[str, Any]]] = {
    "watch": ("w", IN_A_SERIES),
    "interlocks": ("i", DOUGH_GONE),
}
"""Name of a picture to the key of its screen, and what its status holds."""


def svg_of(app: Screens) -> str:
    """Return what is shown as SVG."""
    svg = app.export_screenshot(title="benchd watch")
    # The picture loads nothing: whoever has no such font sees another one of equal widths.
    return re.sub(r"@font-face \{.*?\}\s*", "", svg, flags=re.DOTALL)


async def picture(key: str, changes: dict[str, Any]) -> str:
    """Return a screen as SVG; no clock and no daemon has a part in it."""
    app = Screens("maize", "nowhere.socket")
    app.now_s = lambda: 100.0  # type: ignore[method-assign]
    async with app.run_test(size=SIZE) as pilot:
        model = app.model
        model.changed(True, 100.0)
        model.mine = "client 3"
        for number, mass_g in enumerate(WEIGHTS_G, 1):
            model.weights[number] = mass_g / 1e3
        model.heard("status", told(**changes), 100.0)
        app.show(key)
        app.draw()
        await pilot.pause()
        return svg_of(app)


def make() -> dict[str, str]:
    """Return every picture by its name."""
    return {name: asyncio.run(picture(*given)) for name, given in PICTURES.items()}


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, svg in make().items():
        (FOLDER / f"{name}.svg").write_text(svg, "utf-8")
