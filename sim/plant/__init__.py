"""Pure physics of the bench: dough, feed, cutter, eye and scale."""
