"""The bench daemon: what asks, records, refuses and explains what the dough bench does."""
