"""Where a bench keeps its files: socket in the user's runtime folder, journals in the state folder.

Plain strings and no pathlib, whose import takes a tenth of the time that `benchd status` may take.
"""

from __future__ import annotations

import os

SOCKET_SUFFIX = ".socket"

SOCKET_BYTES_MAX = 103
"""Longest path of a Unix socket that every system takes (macOS: 104 bytes with the zero)."""


class PathError(ValueError):
    """A bench cannot have a file where it should lie; the text says why and what to do."""


def file_name(bench: str) -> str:
    """Return a bench's name as a file name: letters, digits and -_ stay, the rest becomes "-"."""
    kept = "".join(
        sign if (sign.isascii() and sign.isalnum()) or sign in "-_" else "-" for sign in bench
    )
    return kept or "bench"


def runtime_dir() -> str:
    """Return the folder of the sockets; it may not exist yet."""
    base = os.environ.get("XDG_RUNTIME_DIR")
    if base:
        return os.path.join(base, "benchd")
    # Without a session the user still needs a folder that no other user can have made first.
    return os.path.join(state_home(), "benchd", "run")


def socket_path(bench: str) -> str:
    """Return where the daemon of a bench listens.

    Raises: PathError when the path is longer than a socket's may be.
    """
    path = os.path.join(runtime_dir(), file_name(bench) + SOCKET_SUFFIX)
    if len(os.fsencode(path)) > SOCKET_BYTES_MAX:
        raise PathError(
            f"The path {path} is too long for a socket: shorten the bench's name, or let "
            "XDG_RUNTIME_DIR name a shorter folder."
        )
    return path


def benches() -> list[str]:
    """Return the file names of benches that have a socket, running or left behind, in order."""
    try:
        names = os.listdir(runtime_dir())
    except OSError:
        return []
    return sorted(
        name.removesuffix(SOCKET_SUFFIX) for name in names if name.endswith(SOCKET_SUFFIX)
    )


def state_home() -> str:
    """Return the user's state folder."""
    return os.environ.get("XDG_STATE_HOME") or os.path.expanduser("~/.local/state")


def state_dir(bench: str) -> str:
    """Return the folder of a bench's journals; it may not exist yet."""
    return os.path.join(state_home(), "benchd", file_name(bench))


def all_state_dirs() -> list[str]:
    """Return the state folders of all benches of this user, in order of names."""
    home = os.path.join(state_home(), "benchd")
    try:
        names = sorted(os.listdir(home))
    except OSError:
        return []
    folders = (os.path.join(home, name) for name in names if name != "run")
    return [folder for folder in folders if os.path.isdir(folder)]


def make_private(folder: str) -> str:
    """Make a folder that only this user can look into, and return it.

    Raises: OSError when it cannot be made, PermissionError when it belongs to somebody else.
    """
    os.makedirs(folder, mode=0o700, exist_ok=True)
    if os.stat(folder).st_uid != os.getuid():
        raise PermissionError(f"The folder {folder} belongs to another user.")
    return folder
