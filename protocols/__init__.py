"""The vocabulary of both wires: board lines, and requests on the socket; no input or output."""
