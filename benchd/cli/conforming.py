"""`benchd conform`: whether the board on a port keeps the line protocol, case by case."""

from __future__ import annotations

import argparse
import json
from collections import Counter
from typing import TYPE_CHECKING

from benchd.cli.command import OK, WRONG, Parts, Wrong, caution, confirm, note, say, whole_from
from benchd.cli.flashing import PATIENCE_S, lines, look_at, why_not

if TYPE_CHECKING:
    from protocols.conform import Case, Result
    from protocols.messages import Bench

MINUTES = 3
"""What a whole run takes on a real port, about: most of it is waiting for what the board times."""


def _options(parser: argparse.ArgumentParser) -> None:
    from sim.avr.tools import BAUDS

    parser.add_argument("port", metavar="PORT", help="the board's port; 'benchd ports' lists them")
    parser.add_argument(
        "--baud", type=int, choices=BAUDS, default=BAUDS[0],
        help="speed of the line that the firmware is built for; %(default)s if left out",
    )  # fmt: skip
    parser.add_argument(
        "--case", action="append", default=[], type=_number, metavar="NUMBER",
        help="try this case only, by the number that a whole run shows; may be repeated",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print the results as JSON")
    parser.add_argument("--yes", action="store_true", help="go ahead without asking, for scripts")


def _number(text: str) -> int:
    from protocols.conform import CASES

    return whole_from(1, len(CASES))(text)


def conform(options: argparse.Namespace) -> int:
    """Try every case on the board, and say what came of each."""
    from benchd.cli.progress import working
    from benchd.io.greeting import greeting_of
    from benchd.io.serial_link import LinkError
    from protocols.conform import CASES

    cases = tuple(CASES[number - 1] for number in sorted(set(options.case))) or CASES
    port = look_at(options.port)
    caution("conform")
    confirm(
        f"will try {len(cases)} cases on the board on {port}, for {_time(len(cases))}: it is "
        "restarted, its limits are replaced by some that fit no bench, and its step, drive and "
        "valve pins are switched. Go on once you have read the cautions above, with nothing on "
        "the board's pins",
        yes=options.yes,
    )
    try:
        with working("The board starts"):
            board = greeting_of(port, options.baud, PATIENCE_S)
        if not options.json:
            for line in lines(board, port):
                say(line)
        results = _try_all(port, options.baud, cases, quiet=options.json)
    except LinkError as error:
        raise Wrong(why_not(port, error)) from None
    return _conclude(port, board, results, as_json=options.json)


def _time(cases: int) -> str:
    return f"about {MINUTES} minutes" if cases > 60 else "at most a minute or two"


def _try_all(port: str, baud: int, cases: tuple[Case, ...], *, quiet: bool) -> list[Result]:
    """Try the cases, each told as it is done. Raises LinkError, and Wrong without a greeting."""
    from benchd.io.conform_port import PortPeer
    from protocols.conform import NotKept, run

    results = []
    with PortPeer(port, baud) as peer:
        try:
            for result in run(peer, cases):
                results.append(result)
                if not quiet:
                    say(shown(result))
        except NotKept as error:
            raise Wrong(f"The board on {port} greeted once and not again ({error}).") from None
    return results


def shown(result: Result) -> str:
    """Return what a person reads of one case: number, what is asked, and what came of it."""
    told = f"{result.number:3} {result.verdict:9} {result.asks} (SPEC {result.section})"
    return f"{told}; {result.heard}" if result.heard else told


def _conclude(port: str, board: Bench, results: list[Result], *, as_json: bool) -> int:
    from protocols.conform import KEPT, NOT_HEARD, NOT_KEPT, NOT_TRIED

    count = Counter(result.verdict for result in results)
    if as_json:
        say(json.dumps({
            "port": port, "board": board.board, "firmware": board.firmware, "build": board.build,
            "kept": count[KEPT], "not_kept": count[NOT_KEPT], "not_tried": count[NOT_TRIED],
            "not_heard": count[NOT_HEARD],
            "cases": [result._asdict() for result in results],
        }))  # fmt: skip
    else:
        words = (KEPT, NOT_KEPT, NOT_TRIED, *([NOT_HEARD] if count[NOT_HEARD] else []))
        say(f"{', '.join(f'{count[word]} {word}' for word in words)}.")
    note(
        "Take the board's power away before anything is wired to it: the limits of this run are "
        "still in it."
    )
    if count[NOT_KEPT]:
        note(f"The board on {port} does not keep the protocol: use it on no bench until it does.")
    elif count[NOT_HEARD]:
        again = " ".join(f"--case {r.number}" for r in results if r.verdict == NOT_HEARD)
        note(f"Nothing can be said of some cases yet; try them again with {again}.")
    return WRONG if count[NOT_KEPT] or count[NOT_HEARD] else OK


PARTS = {"conform": Parts(_options, conform)}
