"""The simulated bench: the firmware core compiled for this machine, against a simulated plant."""
