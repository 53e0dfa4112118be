"""Statistics of weights, one question a file. Pure; scipy is loaded only where a value is asked."""
