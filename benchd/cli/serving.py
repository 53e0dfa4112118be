"""`benchd serve` and `benchd simulate`: the two programs that keep running."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from benchd.cli.cautions import GENERAL
from benchd.cli.command import Parts, Wrong, caution, note, whole_from

if TYPE_CHECKING:
    from benchd.config import BenchCard


def _serve_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("card", help="bench card, such as bench.yaml")
    parser.add_argument("--port", help="instead of the card's: device path or socket://host:port")
    parser.add_argument("--baud", type=whole_from(9600, 2_000_000), help="instead of the card's")


def read_bench(path: str) -> BenchCard:
    """Return a bench card.

    Raises: Wrong with a sentence for each mistake.
    """
    from benchd.config import CardError, bench_card, read_card

    try:
        return bench_card(read_card(path), path)
    except CardError as error:
        raise Wrong("\n".join(error.sentences)) from None


def serve(options: argparse.Namespace) -> int:
    """Run the daemon until it is ended."""
    card = read_bench(options.card)
    card = card._replace(port=options.port or card.port, baud=options.baud or card.baud)
    if card.facts.simulated:
        note(f"! {GENERAL}")
    else:
        caution("serve")
    from benchd import serve as daemon
    from benchd.io.journal_format import JournalError
    from benchd.io.paths import PathError
    from benchd.io.request_socket import DaemonRunning

    try:
        return daemon.run(card)
    except (DaemonRunning, JournalError, PathError) as error:
        raise Wrong(str(error)) from None
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        raise Wrong(
            f"The daemon cannot start: {error.strerror or error}{where}; check the folder and its "
            "permissions."
        ) from None


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
        "--json-lines", action="store_true", help="print what the simulated scale reads, as JSON"
    )
    parser.add_argument(
        "--resets-when-opened", action="store_true",
        help="restart the board when a host opens the port, as many real ones do",
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
        )
    except ValueError as error:
        raise Wrong(str(error)) from None


PARTS = {
    "serve": Parts(_serve_options, serve),
    "simulate": Parts(_simulate_options, simulate),
}
