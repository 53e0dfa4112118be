"""Why a portion is not as usual: signals against good portions, findings, causes. Pure."""
