"""`benchd --version`: the package, and what must fit together: wire, journal, core, firmware."""

from __future__ import annotations


def versions() -> str:
    """Return one line; the hash is that of the firmware's sources, as a board greets with it."""
    from importlib.metadata import version

    from benchd.core.engine import CORE_VERSION
    from benchd.io.migrations import SCHEMA_VERSION
    from protocols.limits import PROTOCOL
    from sim.board import build_word

    return (
        f"benchd {version('benchd')} (protocol {PROTOCOL}, journal schema {SCHEMA_VERSION}, "
        f"core {CORE_VERSION}, firmware build {build_word()})"
    )
