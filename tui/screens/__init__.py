"""One file a screen: what it shows, and what its keys do."""
