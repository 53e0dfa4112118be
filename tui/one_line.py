"""The whole snapshot as one line: for following along, and for logs. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tui import view

if TYPE_CHECKING:
    from protocols.status import BenchStatus


def status_line(status: BenchStatus, width: int = view.WIDTH) -> str:
    """Return the snapshot as one line, most important first: for following along and for logs.

    What does not fit into `width` is left out as a whole.
    """
    phase = f" {status.phase}" if status.phase and status.phase != "none" else ""
    parts = [f"{status.state}{phase}"]
    if status.abnormals:
        worst = status.abnormals[0]
        parts.append(f"{view.RANKS.get(worst.rank, '')} {worst.code}")
    if view.is_old(status):  # Fresh, its age changes all the time and says nothing.
        parts.append(view.link_text(status))
    unknown = view.is_old(status) or not status.barrel
    parts.append(f"barrel {view.UNKNOWN_ENERGY if unknown else status.barrel}")
    if status.series is not None:
        of = "" if status.series.count is None else f" of {status.series.count}"
        parts.append(f"made {status.series.made}{of}")
    if status.portion:
        parts.append(f"portion {status.portion}")
    if status.position_known and status.position_m is not None:
        parts.append(f"feed {view.millimetres(status.position_m)}")
    line = view.plain(parts[0])[:width]
    for part in parts[1:]:
        longer = f"{line}; {view.plain(part)}"
        if len(longer) <= width:
            line = longer
    return line
