"""Pure calculation: sizing, statistics and units, in SI, each with its source."""
