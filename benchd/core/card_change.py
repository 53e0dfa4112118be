"""Whether a dough card is asked about before portions are made by it: it may be the wrong one."""

from __future__ import annotations

from benchd.core.facts import Dough

ASK_SHARE = 0.05
"""A value that moved by more than this share is asked about (common practice)."""

VALUES: tuple[tuple[str, str, float, str], ...] = (
    ("aim_kg", "aim", 1e3, "g"),
    ("density_kg_m3", "density", 1e-3, "g/cm3"),
    ("stroke_m", "stroke", 1e3, "mm"),
    ("take_up_m", "take_up", 1e3, "mm"),
    ("push_speed_m_s", "push_speed", 1e3, "mm/s"),
    ("draw_back_m", "draw_back", 1e3, "mm"),
    ("settle_s", "settle", 1e3, "ms"),
    ("dwell_s", "dwell", 1e3, "ms"),
    ("tolerance", "tolerance", 1e2, "%"),
)
"""Field of Dough, its key on the card, factor from SI to the unit of the sentence, that unit."""

SWITCHES = ("auto_stroke",)
"""Fields of Dough that are yes or no, as on the card; any change of them is asked about."""


def question(before: Dough | None, after: Dough) -> str | None:
    """Return what to ask before a dough card is used, or None when nothing moved far.

    Parameters: before : Dough or None; the card used last on this bench. after : Dough; the card
    that is asked for.
    Example: question(masa, replace(masa, aim_kg=0.04)) asks about "aim 30 g -> 40 g (+33 %)".
    """
    if before is None:
        return None
    moved = [
        f"{key} {was * factor:.4g} {unit} -> {now * factor:.4g} {unit}{_percent(was, now)}"
        for field, key, factor, unit in VALUES
        if _far(was := getattr(before, field), now := getattr(after, field))
    ]
    moved += [
        f"{field} {_word(getattr(before, field))} -> {_word(getattr(after, field))}"
        for field in SWITCHES
        if getattr(before, field) != getattr(after, field)
    ]
    if not moved:
        return None
    cards = (
        f"The dough card '{after.name}' differs from the last use of it"
        if after.name == before.name
        else f"The dough card '{after.name}' differs from '{before.name}', used last"
    )
    return f"{cards}: {', '.join(moved)}. Is it the right one?"


def _far(was: float, now: float) -> bool:
    return abs(now - was) > ASK_SHARE * abs(was) + 1e-12


def _percent(was: float, now: float) -> str:
    return "" if was == 0 else f" ({(now / was - 1) * 100:+.0f} %)"


def _word(switch: bool) -> str:
    return "yes" if switch else "no"
