"""The small figure of the sizing sheet: push speed against barrel pressure and motor torque."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from benchd.calc.sizing import ROWS
from benchd.calc.sizing.base import Input, rows_for, work_out
from benchd.calc.sizing.motor import STALL_SHARE
from benchd.calc.sizing.thrust import barrel_pressure
from benchd.cli.command import Usage, Wrong

KINDS = (".svg", ".png", ".pdf")
POINTS = 40
MOST_IN_A_ROW = 4


def curves(inputs: Mapping[str, Input]) -> dict[str, list[float | None]]:
    """Return push speed [m/s], barrel pressure [Pa], torque to push and at pull-out [Nm].

    Raises: Wrong where not even the pressure can be computed.
    """
    fastest, push = inputs["feed.top_speed"].value, inputs["push_speed"].value
    assert not isinstance(fastest, str)  # The cards hold them as numbers.
    assert not isinstance(push, str)
    top = max(fastest, push)
    wanted = ("barrel.work", "screw.push", "motor.pull_out")
    rows = rows_for(ROWS, wanted)
    found: dict[str, list[float | None]] = {name: [] for name in ("speed", *wanted)}
    for point in range(1, POINTS + 1):
        speed = top * point / POINTS
        tried = {**inputs, "push_speed": inputs["push_speed"]._replace(value=speed)}
        values = {line.row.name: line.value for line in work_out(rows, tried)}
        found["speed"].append(speed)
        for name in wanted:
            found[name].append(values.get(name))
    if not any(value is not None for value in found["barrel.work"]):
        raise Wrong("There is nothing to draw: the pressure could not be computed.")
    return found


def write(path: str, inputs: Mapping[str, Input]) -> None:
    """Write the figure.

    Raises: Usage for a kind of file that is not drawn, Wrong where it cannot be written.
    """
    if not path.lower().endswith(KINDS):
        raise Usage(f"--plot writes {', '.join(KINDS)}; '{path}' is none of them.")
    found = curves(inputs)
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.4, 4.0), layout="constrained")
    left = figure.subplots()
    speeds = [_times(value, 1e3) for value in found["speed"]]
    pressures = [_times(one, 1e-5) for one in found["barrel.work"]]
    left.plot(speeds, pressures, "k-", label="barrel pressure")
    left.set_xlabel("push speed [mm/s]")
    left.set_ylabel("barrel pressure [bar]")
    for label, pressure_pa, style in _limits(inputs):
        left.axhline(pressure_pa / 1e5, color="k", ls=style, lw=1.0, label=label)
    now = inputs["push_speed"].value
    if not isinstance(now, str):
        left.axvline(now * 1e3, color="0.6", ls="-.", label="working speed")
    left.set_ylim(bottom=0)
    handles = left.get_legend_handles_labels()[0]
    title = "Computed, not proven: makers' ratings stand above it"
    if any(value is not None for value in (*found["screw.push"], *found["motor.pull_out"])):
        left.set_ylabel("barrel pressure [bar] (black)")
        handles += _torques(left.twinx(), speeds, found)
    else:
        wanted = [name for name in ("feed.screw", "motor.torque") if name not in inputs]
        title += f"\nNo torque is drawn: {' and '.join(wanted)} not given"
    # Outside, since inside it would hide a curve of some bench or other.
    columns = 3 if len(handles) > MOST_IN_A_ROW else len(handles)
    figure.legend(handles=handles, fontsize="small", loc="outside lower center", ncols=columns)
    left.set_title(title, fontsize="small")
    try:
        figure.savefig(path, dpi=120)
    except OSError as error:
        raise Wrong(
            f"The figure cannot be written to {path}: {(error.strerror or str(error)).lower()}."
        ) from None


def _limits(inputs: Mapping[str, Input]) -> Iterator[tuple[str, float, str]]:
    """Give what the pressure is held against: label, pressure [Pa], style of its line."""
    rated = inputs.get("barrel.rated")
    if rated is not None and not isinstance(rated.value, str):
        yield "barrel rated", rated.value, ":"
    thrust, seal, bore = (
        inputs[name].value if name in inputs else None
        for name in ("limits.thrust", "barrel.seal", "feed.bore")
    )
    if isinstance(thrust, float) and isinstance(seal, float) and isinstance(bore, float):
        left_n = thrust - seal
        if left_n > 0:
            yield "limit of thrust", barrel_pressure(left_n, bore_m=bore), "--"


def _torques(right: Any, speeds: list[float], found: dict[str, list[float | None]]) -> list[Any]:
    """Draw torque to push, pull-out and the share of it that may be used; return their legends."""
    right.set_ylabel("motor torque [Nm] (coloured)")
    pull_out = found["motor.pull_out"]
    used = [None if one is None else STALL_SHARE * one for one in pull_out]
    for values, style, label in (
        (found["screw.push"], "C0--", "torque to push"),
        (pull_out, "C3:", "pull-out"),
        (used, "C3-", f"{STALL_SHARE * 100:.0f} % of it: the limit"),
    ):
        if any(value is not None for value in values):
            right.plot(speeds, [_times(one, 1.0) for one in values], style, label=label)
    right.set_ylim(bottom=0)
    return list(right.get_legend_handles_labels()[0])


def _times(value: float | None, factor: float) -> float:
    return float("nan") if value is None else value * factor
