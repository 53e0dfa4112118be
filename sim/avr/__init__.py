"""The board's machine code for the 8-bit chip, in an instruction-level simulator of that chip."""
