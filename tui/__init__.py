"""Terminal screens: they show status snapshots and send requests, and decide nothing."""
