"""Keeps what every screen shows of a frozen status: `python -m tests.tui.snapshots [FOLDER]`.

Each is kept as lines of text behind a letter for their mark; mono ones show what is left without
colour: what is bold in braces, what is reversed in brackets. Of each picture of the terminal a hash
is kept; the pictures themselves go into FOLDER, to be looked at. A test compares.

All of it is our own output, so that a change nobody meant is seen. It is no judge of what is right:
what a screen must say is held in tests of its own.
"""

from __future__ import annotations

import asyncio
import hashlib
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from textual.filter import NoColor

from protocols.status import Abnormal
from tests.quiet_status import STATUS, told
from tests.tui.pictures import DOUGH_GONE, IN_A_SERIES, WEIGHTS_G, svg_of
from tests.tui.test_lanes import band, portion
from tui.app import Screens

FOLDER = Path(__file__).parents[1] / "data" / "screens"
PICTURES = "pictures.txt"
SIZES = ((80, 24), (120, 40))
NOW_S = 100.0
S = 1_000_000_000

NORMAL: dict[str, Any] = {
    **IN_A_SERIES,
    "spread_kg": (0.00042, 0.00029, 0.00074),
    "n_spread": 11,
    "tube_open_s": 1520.0,
    "unweighed": (12,),
}
ABNORMAL: dict[str, Any] = {
    **DOUGH_GONE,
    "thrust_n": 431.0,
    "not_watched": ("guard", "cutter far end"),
    "abnormals": (
        *DOUGH_GONE["abnormals"],
        Abnormal(
            "IL-28", 2, "The journal cannot be written: the disk is full.", "No series begins.",
            "Make room on the disk.", STATUS.now_ns - 90 * S, False, "auto", "shelved",
            STATUS.now_ns + 600 * S, "ana", "new disk",
        ),
        Abnormal(
            "IL-30", 1, "Board times are uncertain by 31 ms.", "Times of events are doubtful.",
            "Look at the link.", STATUS.now_ns - 30 * S, False, "auto",
        ),
    ),
    "returned": (
        Abnormal(
            "IL-22", 2, "Both local switches are pressed.", "It lasted 2.0 s and went by itself.",
            "Look what it was, then 'benchd seen IL-22'.", STATUS.now_ns - 40 * S, False, "auto",
            "returned",
        ),
    ),
    "raised_lately": 3,
}  # fmt: skip
STATES = {"normal": NORMAL, "abnormal": ABNORMAL}

CARD = "dough: masa\naim: 30 g\ndensity: 1150 kg/m3\n"
STUDY: dict[str, Any] = {
    "journals": [
        {"name": "b.journal", "state": "open", "entries": 5210, "problem": None},
        {"name": "a.journal", "state": "closed", "entries": 12040, "problem": None},
    ],
    "portions": [{"number": number} for number in range(1, 12)],
    "timeline": portion(
        number=11, mass_kg=0.0302, outcome="complete", tube="T7", band=band(110.0, 150.0)
    )
    | {"class": "normal"},
    "why": [
        "Found: thrust 200 N.",
        "Likely: MC-04 a lump in the nozzle.",
        "Next check: relieve, vent, then look into the nozzle.",
        "CAUTION: Air shut and vented, gauge at zero, blade locked, before any hand goes near it.",
        "Held against 2 good portions.",
    ],
    "case": ["Portion 11 of tube T7: 30.2 g, normal, complete", "  Found  thrust 200 N"],
    "judge": ["Tube T7: masa, aim 30.0 g, group 1; 11 judged of 11", "Verdict: STEADY"],
}
"""What the study process would say."""

NEWS = (
    ("portion", {"number": 11, "class": "normal", "outcome": "complete"}),
    ("weight", {"portion": 11, "mass_kg": 0.0302}),
    ("alarm", {"interlock": "IL-28", "what": "shelved", "name": "ana", "text": "new disk",
               "for_s": 600.0}),
)  # fmt: skip


def study(
    ask: str, given: Mapping[str, Any], then: Callable[[Any], None], failed: Callable[[], None]
) -> None:
    """Answer at once."""
    then(STUDY[ask])


MARKS = {"": " ", "strong": "*", "stop": "!", "watch": "?", "dim": "-"}


def coloured(app: Screens) -> list[str]:
    """The lines, each behind the letter of its mark."""
    return [f"{MARKS[line.mark]}|{line.text}".rstrip() for line in app.picture(NOW_S)]


def mono(app: Screens) -> list[str]:
    """The lines with what is drawn bold in braces and reversed in brackets: all but colour."""
    lines = []
    for y in range(app.size.height):
        text = ""
        for segment in app._paper.render_line(y):
            style, shown = segment.style, segment.text
            if style is not None and style.reverse:
                shown = f"[{shown}]"
            elif style is not None and style.bold:
                shown = f"{{{shown.rstrip()}}}"
            text += shown
        lines.append(f"  {text}".rstrip())
    return lines


def without_colour(app: Screens) -> str:
    """What is shown, as SVG, where the terminal has no colours."""
    app._filters.append(NoColor())
    app._paper._styles_cache.clear()
    try:
        return svg_of(app)
    finally:
        app._filters.pop()
        app._paper._styles_cache.clear()


class Shown(NamedTuple):
    """One screen at one size in one state: as text, as text without colour, and both as SVG."""

    coloured: list[str]
    mono: list[str]
    svg: str
    mono_svg: str


async def _shown(size: tuple[int, int], changes: dict[str, Any]) -> dict[str, Shown]:
    found: dict[str, Shown] = {}
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "masa.yaml").write_text(CARD)
        Path(folder, "other.yaml").write_text(CARD.replace("30 g", "31 g"))
        app = Screens("maize", "nowhere.socket", folder=folder)
        app.now_s = lambda: NOW_S  # type: ignore[method-assign]
        app.study = study  # type: ignore[method-assign]
        async with app.run_test(size=size) as pilot:
            model = app.model
            model.changed(True, NOW_S)
            model.mine = "client 3"
            for number, mass_g in enumerate(WEIGHTS_G, 1):
                model.weights[number] = mass_g / 1e3
            for topic, data in NEWS:
                model.heard(topic, data, NOW_S, "09:14:07")
            model.heard("status", told(**changes), NOW_S)
            for key, page in app._pages.items():
                app.show("w")
                app.show(key)
                app.draw()
                await pilot.pause()
                found[page.name] = Shown(coloured(app), mono(app), svg_of(app), without_colour(app))
    return found


def make() -> tuple[dict[str, str], dict[str, str]]:
    """Return what is kept, by the name of its file: one for each screen, and PICTURES with a hash
    of each picture; and the pictures themselves, by name."""
    texts: dict[str, list[str]] = {}
    pictures: dict[str, str] = {}
    for state, changes in STATES.items():
        for size in SIZES:
            for name, shown in asyncio.run(_shown(size, changes)).items():
                what = f"{size[0]}x{size[1]}, {state}"
                blocks = texts.setdefault(f"{name.lower()}.txt", [])
                blocks.append("\n".join([f"== {what}", *shown.coloured]))
                blocks.append("\n".join([f"== {what}, mono", *shown.mono]))
                pictures[f"{name}, {what}"] = shown.svg
                pictures[f"{name}, {what}, mono"] = shown.mono_svg
    kept = {file: "\n\n".join(blocks) + "\n" for file, blocks in texts.items()}
    hashes = (
        f"{hashlib.sha256(svg.encode()).hexdigest()[:16]}  {name}"
        for name, svg in sorted(pictures.items())
    )
    return kept | {PICTURES: "\n".join(hashes) + "\n"}, pictures


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    files, svgs = make()
    for file, text in files.items():
        (FOLDER / file).write_text(text, "utf-8")
    for place in sys.argv[1:]:
        for name, svg in svgs.items():
            Path(place, f"{name}.svg").write_text(svg, "utf-8")
