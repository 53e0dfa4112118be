"""`benchd judge`: whether the weights are consistent, as far as so many can tell."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from benchd.cli.command import OK, Parts, Usage, Wrong, note, say
from benchd.cli.journals import find, older_one
from benchd.cli.progress import working

if TYPE_CHECKING:
    from benchd.analysis.charts import Baseline
    from benchd.analysis.weighed import Weighed

NO_WEIGHTS = (
    "There is no portion with a weight in what was read, so there is nothing to judge: weigh some "
    "with 'benchd weigh'."
)


def share(text: str) -> float:
    """Return a share of the aim: 5% or 5 for five of a hundred.

    Raises: argparse.ArgumentTypeError when it is none.
    """
    try:
        value = float(text.strip().removesuffix("%").replace(",", ".")) / 100
    except ValueError:
        value = 0.0
    if not 0.001 <= value <= 0.5:
        raise argparse.ArgumentTypeError(f"'{text}' is not a share from 0.1% to 50%")
    return value


def add_journals(parser: argparse.ArgumentParser) -> None:
    """Add the options by which journals are chosen."""
    parser.add_argument("--bench", metavar="NAME", help="of this bench")
    parser.add_argument("--json", action="store_true", help="print the answer as JSON")


def add_named_journals(parser: argparse.ArgumentParser) -> None:
    """Add those options, and the journals that are named one by one."""
    add_journals(parser)
    parser.add_argument(
        "journals",
        nargs="*",
        metavar="journal",
        help="paths, or starts of their names; the newest if not given",
    )


def _options(parser: argparse.ArgumentParser) -> None:
    add_named_journals(parser)
    parser.add_argument("--tube", metavar="NAME", help="only this tube")
    parser.add_argument(
        "--within",
        type=share,
        metavar="SHARE",
        help="judge against this share of the aim; default: the dough card's tolerance",
    )
    parser.add_argument(
        "--own-limits",
        action="store_true",
        help="draw charts with limits of these portions, not of the frozen ones",
    )
    parser.add_argument(
        "--freeze",
        action="store_true",
        help="keep the charts' limits of these portions as a new version",
    )


@contextmanager
def named(
    names: list[str],
    bench: str | None,
    label: str = "The journals are read",
    portion: int | None = None,
) -> Iterator[list[Path]]:
    """Give the journals or archives that were named; the newest journal where none is named, of
    those with this portion if one is asked for.

    label: what is shown meanwhile.

    Raises: Wrong when one cannot be read.
    """
    from benchd.io.journal_format import JournalError

    paths = dict.fromkeys(find(name, bench, portion) for name in names or (None,))
    try:
        with working(label):
            yield list(paths)
    except JournalError as error:
        raise Wrong(str(error)) from None


def read(names: list[str], bench: str | None) -> Weighed:
    """Return the portions of journals or archives; the newest journal where none is named.

    Raises: Wrong when one cannot be read.
    """
    from benchd.analysis.weighed import read_weighed

    with named(names, bench) as paths:
        return read_weighed(paths)


def judge(options: argparse.Namespace) -> int:
    """Judge the weights; it changes and moves nothing."""
    import msgspec

    from benchd.analysis.charts import all_charts
    from benchd.analysis.judge import judge as judged
    from benchd.cli import chart_text, judge_text

    weighed = read(options.journals, options.bench)
    if options.tube is not None:
        weighed = _only(weighed, options.tube)
    if not any(portion.mass_kg is not None for portion in weighed.portions):
        raise Wrong(NO_WEIGHTS + older_one("weight", options.journals, options.bench))
    if options.freeze:
        return _freeze(options, weighed)
    with working("The weights are judged"):
        told = judged(weighed, options.within)
        drawn = all_charts(weighed.portions, [] if options.own_limits else baselines_of(weighed))
    if options.json:
        say(json.dumps(msgspec.to_builtins(told) | {"charts": msgspec.to_builtins(drawn)}))
        return OK
    for line in judge_text.lines(told, chart_text.chart_lines(drawn)):
        say(line)
    return OK


def baselines_of(weighed: Weighed) -> list[Baseline]:
    """Return the frozen limits of these benches; what cannot be read is told and left out."""
    return [
        one
        for bench in sorted({portion.bench for portion in weighed.portions})
        for one in frozen_of(bench)
    ]


def frozen_of(bench: str) -> list[Baseline]:
    """Return the frozen limits in a bench's folder, oldest first; what is not to be read is told.

    Benches whose names differ in signs alone share a folder; each of the limits names its bench.
    """
    import msgspec

    from benchd.analysis.charts import Baseline
    from benchd.io import baselines, paths

    found = []
    for path in baselines.versions(paths.state_dir(bench)).values():
        try:
            found.append(msgspec.json.decode(path.read_bytes(), type=Baseline))
        except msgspec.ValidationError:
            note(
                f"The frozen limits {path} are of an earlier version, do not say all that is asked "
                "of limits now (their bench, or where the tubes were), and are left out: freeze "
                "new ones with 'benchd judge --freeze', and move that file away."
            )
        except (OSError, msgspec.MsgspecError) as error:
            note(
                f"The frozen limits {path} could not be read ({error}) and are left out: move that "
                "file away."
            )
    return found


def _freeze(options: argparse.Namespace, weighed: Weighed) -> int:
    import msgspec

    from benchd.analysis.charts import freeze
    from benchd.analysis.weighed import by, compared
    from benchd.cli import chart_text
    from benchd.io import baselines, paths

    judged = [portion for portion in weighed.portions if portion.judged]
    kinds = by(judged, compared)
    if len(kinds) > 1:
        raise Usage(
            f"These portions were made in {len(kinds)} ways, and limits are of one: choose with "
            "--tube, or another journal."
        )
    folder = paths.state_dir(next(iter(kinds)).bench if kinds else weighed.portions[0].bench)
    version = max(baselines.versions(folder), default=0) + 1
    baseline = freeze(judged, version)
    if baseline is None:
        raise Wrong(
            f"Nothing was frozen: limits take 20 weights of normal portions, odd ones not counted, "
            f"and here are {len(judged)}; weigh more, or name more journals."
        )
    try:
        baselines.write(folder, version, msgspec.json.encode(baseline))
    except OSError as error:
        raise Wrong(f"The limits could not be kept in {folder}: {error.strerror}.") from None
    if options.json:
        say(json.dumps(msgspec.to_builtins(baseline)))
    else:
        say(chart_text.frozen_text(baseline))
    return OK


def _only(weighed: Weighed, tube: str) -> Weighed:
    known = {portion.tube for portion in weighed.portions}
    if tube not in known:
        named = ", ".join(sorted(known)) or "none"
        raise Usage(f"There is no portion of a tube '{tube}' here; the tubes are: {named}.")
    return weighed._replace(
        portions=tuple(one for one in weighed.portions if one.tube == tube),
        loadings=tuple(one for one in weighed.loadings if one.tube == tube),
    )


PARTS = {"judge": Parts(_options, judge)}
