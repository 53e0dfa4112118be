"""The small figure of the sizing sheet: push speed against barrel pressure and motor torque."""

from __future__ import annotations

from collections.abc import Mapping

from benchd.calc.sizing import ROWS
from benchd.calc.sizing.base import Input, work_out
from benchd.cli.command import Usage, Wrong

KINDS = (".svg", ".png", ".pdf")
POINTS = 40


def curves(inputs: Mapping[str, Input]) -> dict[str, list[float | None]]:
    """Return push speed [m/s], barrel pressure [Pa], torque to push and at pull-out [Nm].

    Raises: Wrong where not even the pressure can be computed.
    """
    top = inputs["feed.top_speed"].value
    assert not isinstance(top, str)  # The bench card holds it as a number.
    wanted = ("barrel.work", "screw.push", "motor.pull_out")
    found: dict[str, list[float | None]] = {name: [] for name in ("speed", *wanted)}
    for point in range(1, POINTS + 1):
        speed = top * point / POINTS
        tried = {**inputs, "push_speed": inputs["push_speed"]._replace(value=speed)}
        values = {line.row.name: line.value for line in work_out(ROWS, tried)}
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
    left.plot(speeds, [_times(one, 1e-5) for one in found["barrel.work"]], "k-", label="pressure")
    left.set_xlabel("push speed [mm/s]")
    left.set_ylabel("barrel pressure [bar]")
    rated, now = inputs.get("barrel.rated"), inputs["push_speed"].value
    if rated is not None and not isinstance(rated.value, str):
        left.axhline(rated.value / 1e5, color="k", ls=":", label="barrel rated")
    if not isinstance(now, str):
        left.axvline(now * 1e3, color="0.6", ls="-.", label="working speed")
    right = left.twinx()
    right.set_ylabel("motor torque [Nm]")
    torques = (("screw.push", "C0--", "torque to push"), ("motor.pull_out", "C3:", "pull-out"))
    for name, style, label in torques:
        if any(value is not None for value in found[name]):
            right.plot(speeds, [_times(one, 1.0) for one in found[name]], style, label=label)
    left.set_ylim(bottom=0)
    right.set_ylim(bottom=0)
    handles = [*left.get_legend_handles_labels()[0], *right.get_legend_handles_labels()[0]]
    left.legend(handles=handles, fontsize="small")
    left.set_title("Computed, not proven: makers' ratings stand above it", fontsize="small")
    try:
        figure.savefig(path, dpi=120)
    except OSError as error:
        raise Wrong(
            f"The figure cannot be written to {path}: {(error.strerror or str(error)).lower()}."
        ) from None


def _times(value: float | None, factor: float) -> float:
    return float("nan") if value is None else value * factor
