"""Commands for the person at the bench; each loads only what it uses."""
