"""The bytes that outlive power on the 8-bit board, as a programmer would write them."""

from __future__ import annotations

import binascii

BYTES = 1024
PLACES = (32, 64)
"""Where the two copies of the record lie."""


def record(
    order: int = 0, *, boot: int = 0, flipped: int = 0, bare: int = 0, bandgap_mv: int = 0
) -> bytes:
    """Return one copy of the record.

    order: of two whole copies the higher one counts, modulo 256. boot: number of the last boot.
    flipped, bare: contacts that are on while open, and those without the chip's pull-up, bits as
    `codes.PIN`. bandgap_mv: what the chip's reference has above 1100 mV, -100 to 100.
    """
    body = bytes((order, boot & 0xFF, boot >> 8, flipped, bare, bandgap_mv & 0xFF))
    return body + binascii.crc_hqx(body, 0xFFFF).to_bytes(2, "big")


def image(*copies: bytes) -> bytes:
    """Return a whole memory with these copies, at most two; the rest is blank."""
    memory = bytearray(b"\xff" * BYTES)
    for place, copy in zip(PLACES, copies, strict=False):
        memory[place : place + len(copy)] = copy
    return bytes(memory)
