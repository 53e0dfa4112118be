"""`benchd serve` and `benchd simulate`: the two programs that keep running."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from benchd.cli.cautions import GENERAL
from benchd.cli.command import Parts, Wrong, caution, confirm, note, whole_from

if TYPE_CHECKING:
    from benchd.config import BenchCard


def _serve_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("card", help="bench card, such as bench.yaml")
    parser.add_argument("--port", help="instead of the card's: device path or socket://host:port")
    parser.add_argument("--baud", type=whole_from(9600, 2_000_000), help="instead of the card's")
    parser.add_argument(
        "--yes",
        action="store_true",
        help="agree to a real port, and to a card that changed, without being asked, for scripts",
    )
    parser.add_argument(
        "-v", "--verbose", action="store_true", help="also log requests and changes of the link"
    )
    parser.add_argument(
        "--log-json", action="store_true", help="log one JSON object a line, to standard error"
    )


def read_bench(path: str) -> BenchCard:
    """Return a bench card.

    Raises: Wrong with a sentence for each mistake.
    """
    from benchd.cli.card_kind import expect
    from benchd.config import CardError, bench_card, read_card

    try:
        text = read_card(path)
        expect("bench", text, path)
        return bench_card(text, path)
    except CardError as error:
        raise Wrong("\n".join(error.sentences)) from None


def serve(options: argparse.Namespace) -> int:
    """Run the daemon until it is ended."""
    card = read_bench(options.card)
    from benchd.cli.checking import ask_before_serving

    ask_before_serving(card, yes=options.yes)
    card = card._replace(port=options.port or card.port, baud=options.baud or card.baud)
    agreed = agree_to_port(card, yes=options.yes)
    from benchd import serve as daemon
    from benchd.io import clock
    from benchd.io.journal_format import JournalError
    from benchd.io.log import Log
    from benchd.io.paths import PathError
    from benchd.io.request_socket import DaemonRunning

    log = Log(clock.wall_us, as_json=options.log_json, verbose=options.verbose)
    try:
        return daemon.run(card, log, agreed=agreed)
    except (DaemonRunning, JournalError, PathError) as error:
        raise Wrong(str(error)) from None
    except OSError as error:
        why = error.strerror or str(error).rstrip(".")
        where = f" ({error.filename})" if error.filename else ""
        raise Wrong(
            f"The daemon cannot start: {why}{where}; check the folder and its permissions."
        ) from None


def agree_to_port(card: BenchCard, *, yes: bool) -> bool:
    """Show the cautions; return whether a person has agreed to a real port, and ask once for each.

    Raises: Wrong when the person does not agree, Usage when nobody can be asked.
    """
    from benchd.io import clock, known_ports, ports

    bench = card.facts.name
    real = ports.is_real(card.port)
    if known_ports.agreed(bench, card.port) if real else card.facts.simulated:
        note(f"! {GENERAL}")
        return real
    caution("serve")
    if real:
        confirm(
            f"will open {card.port} for bench {bench}, which restarts most boards; from then on "
            "the feed can start by a command from any terminal. Go on once you have read the "
            "cautions above, with the motor supply off and the air shut and vented; this is asked "
            "once for this port",
            yes=yes,
        )
        try:
            known_ports.agree(bench, card.port, clock.wall_us())
        except OSError as error:
            note(f"This will be asked again: it could not be written down ({error.strerror}).")
    return real


def _simulate_options(parser: argparse.ArgumentParser) -> None:
    from sim.controls import CONTROLS

    parser.epilog = (
        f"Typed while it runs, one a line:\n\n{CONTROLS}\n\nThe faults: benchd guide simulator\n\n"
        f"{parser.epilog}"
    )
    parser.add_argument("card", help="bench card, such as bench.yaml")
    parser.add_argument(
        "--link", required=True, metavar="PATH", help="where the port of the simulated board lies"
    )
    parser.add_argument("--seed", type=whole_from(0, 2**63), default=1, help="chance, repeatable")
    parser.add_argument(
        "--fault", action="append", default=[], metavar="NAME@PORTION[:SEVERITY]",
        help="a fault at a portion, such as void@5; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--dough", metavar="CARD", help="a dough card: the bench has this dough, as far as it says"
    )
    parser.add_argument(
        "--json-lines", action="store_true", help="print what the simulated scale reads, as JSON"
    )
    parser.add_argument(
        "--resets-when-opened", action="store_true",
        help="restart the board when a host opens the port, as many real ones do",
    )  # fmt: skip
    parser.add_argument(
        "--board", choices=("host", "avr"), default="host",
        help="host: the firmware compiled for this machine; avr: its machine code for the 8-bit "
        "board, in a simulator of the chip",
    )  # fmt: skip


def simulate(options: argparse.Namespace) -> int:
    """Run the simulated bench until it is ended."""
    read_bench(options.card)
    from sim import bench

    try:
        return bench.run(
            options.card,
            link=options.link,
            seed=options.seed,
            faults=options.fault,
            json_lines=options.json_lines,
            resets_when_opened=options.resets_when_opened,
            board=options.board,
            dough_path=options.dough,
        )
    except ValueError as error:
        raise Wrong(str(error)) from None


PARTS = {
    "serve": Parts(_serve_options, serve),
    "simulate": Parts(_simulate_options, simulate),
}
