"""`benchd why`: what is not as usual about a portion, and what may have caused it."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from benchd.cli.command import OK, Parts, Usage, Wrong, say
from benchd.cli.journals import older_one
from benchd.cli.judging import add_named_journals, named
from benchd.cli.progress import working

if TYPE_CHECKING:
    from benchd.diagnose.case import Bench
    from benchd.diagnose.signals import Seen

CASES_SHOWN = 5
NO_PORTIONS = (
    "There is no portion in what was read, so there is nothing to explain: make some with "
    "'benchd portion', or name another journal."
)


def _options(parser: argparse.ArgumentParser) -> None:
    add_named_journals(parser)
    parser.add_argument(
        "--portion",
        type=int,
        metavar="N",
        help="this one, of the newest journal that has it; default: look for odd ones",
    )
    parser.add_argument(
        "--case", metavar="FILE", help="write the case of this portion as a page (HTML) of its own"
    )
    parser.add_argument(
        "--verdict",
        metavar="TEXT",
        help='what you found, such as "MC-12 husk": into the case file, and into the journal of a '
        "running daemon",
    )
    parser.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    parser.add_argument(
        "--found",
        nargs="*",
        metavar="WORD",
        help="verdicts noted in all journals that hold these words, such as MC-12; one that stands "
        "in a case file alone is not among them",
    )


def why(options: argparse.Namespace) -> int:
    """Explain a portion, or the odd ones; it moves nothing, and changes nothing but that a verdict
    is noted."""
    if options.found is not None:
        if options.journals or options.portion or options.case or options.verdict:
            raise Usage("--found searches all journals: leave the others out, but --bench.")
        from benchd.cli import past_cases

        return past_cases.search(options.found, options.bench, as_json=options.json)
    if options.case is not None:
        return _write_case(options)
    if options.verdict is not None or options.overwrite:
        raise Usage("--verdict and --overwrite go with --case FILE: name the file to write.")
    with named(options.journals, options.bench, portion=options.portion) as paths:
        benches = _read(paths, options.portion)
    if not any(bench.portions for bench in benches):
        raise Wrong(NO_PORTIONS + older_one("portion", options.journals, options.bench))
    return _tell(options, benches)


def _tell(options: argparse.Namespace, benches: Sequence[Bench]) -> int:
    from benchd.cli import rows, why_text

    if options.portion is None:
        with working("The portions are compared"):
            odd = (case for bench in benches for case in bench.odd_ones())
            cases = sorted(odd, key=lambda case: -case.weight)
    else:
        cases = [bench.case(one) for bench, one in _known(benches, options.portion)]
    if options.json:
        say(json.dumps({"cases": [why_text.data(case) for case in cases]}))
        return OK
    shown, several = cases[:CASES_SHOWN], len(benches) > 1
    for line in why_text.lines(shown, several):
        say(line)
    if len(cases) > len(shown):
        others = ", ".join(
            f"{case.portion.number}{why_text.of_bench(case, several)}"
            for case in cases[CASES_SHOWN:]
        )
        say("")
        for line in rows.wrap(f"Also odd, and less so: portion {others}."):
            say(line)
    return OK


def told_of(paths: Sequence[Path], number: int) -> list[str]:
    """Return what `benchd why --portion` says of a portion, line by line.

    Raises: Wrong, Usage.
    """
    from benchd.cli import why_text

    benches = _read(paths, number)
    cases = [bench.case(one) for bench, one in _known(benches, number)]
    return list(why_text.lines(cases, len(benches) > 1))


def _read(paths: Sequence[Path], number: int | None) -> list[Bench]:
    """Return the benches of journals; with a number only what that portion is held against, if it
    is there."""
    from benchd.analysis.why import read_histories
    from benchd.diagnose.case import Bench

    def read(around: int | None) -> list[Bench]:
        histories = read_histories(paths, around)
        return [Bench(history.portions(), history.fitted) for history in histories]

    benches = read(number)
    if number is not None and not any(
        one.number == number for bench in benches for one in bench.portions
    ):
        benches = read(None)
    return benches


def _known(benches: Sequence[Bench], number: int) -> list[tuple[Bench, Seen]]:
    all_of_them = [(bench, one) for bench in benches for one in bench.portions]
    known = [(bench, one) for bench, one in all_of_them if one.number == number]
    if not all_of_them:
        raise Wrong(NO_PORTIONS)
    if not known:
        numbers = [one.number for _, one in all_of_them]
        raise Usage(
            f"There is no portion {number} here; they go from {min(numbers)} to {max(numbers)}."
        )
    return known


def _write_case(options: argparse.Namespace) -> int:
    from importlib.metadata import version

    from benchd.analysis.case_times import read_around
    from benchd.analysis.export_files import whole_file
    from benchd.cli import case_file, why_text
    from benchd.io import clock

    if options.portion is None:
        raise Usage("A case file is about one portion: add --portion N.")
    verdict = "" if options.verdict is None else case_file.checked_verdict(options.verdict)
    with named(options.journals, options.bench, portion=options.portion) as paths:
        (bench, one), *more = _known(_read(paths, options.portion), options.portion)
        if more:
            raise Usage(
                f"There is more than one portion {options.portion} here, for the journals are of "
                "several benches: name journals of one."
            )
        case = bench.case(one)
        around = read_around(paths, one, bench.good_ones(one))
        names = [path.name for path in paths]
        made = (verdict, clock.wall_us(), version("benchd"))
        text = case_file.page(case_file.Page(case, bench.tube_of(one), around, names, *made))
        with whole_file(Path(options.case), overwrite=options.overwrite) as file:
            file.write(text.encode())
    already = verdict in [text for _, text in case_file.verdicts(around)]
    kept = ""
    if verdict:
        kept = "journal" if already else _noted(around.bench, one.number, verdict)
    if options.json:
        told = {"cases": [why_text.data(case)], "case_file": options.case}
        say(json.dumps(told | {"verdict": verdict or None, "noted": kept == "journal"}))
    else:
        say(f"{options.case}: the case of portion {one.number}.{_verdict_words(kept)}")
    return OK


def _verdict_words(kept: str) -> str:
    if not kept:
        return ""
    if kept == "journal":
        return " Your verdict stands in it, and as a note in the journal."
    return f" Your verdict stands in it, and in no journal: {kept}."


def _noted(bench: str, number: int, verdict: str) -> str:
    """Note a verdict where the daemon of this bench runs.

    Returns: "journal" when it is noted, else why it is not.
    """
    from benchd.analysis.notes import VERDICT
    from benchd.cli.daemon import Client, NoDaemon, Refused, status_of

    try:
        with Client(bench) as client:
            if status_of(client).portion < number:
                return f"the bench {bench} that runs has made no portion {number}"
            client.call("note", {"text": f"{VERDICT} {verdict}", "portion": number})
    except NoDaemon:
        return f"no daemon of bench {bench or '-'} runs"
    except Refused as error:
        return error.message.rstrip(".")
    return "journal"


PARTS = {"why": Parts(_options, why)}
