"""Start and end the bench: a port of this machine, the server, the browser."""

from __future__ import annotations

import errno
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from ..errors import MockupError
from ..scene.load import find_scene
from ..scene.places import scenes_folder
from .document import Document

__all__ = ["PORT", "free_port", "open_document", "serve"]

PORT, TRIED = 8731, 40


def free_port(wanted: int | None) -> tuple[socket.socket, int]:
    """A socket bound to the loopback address at the wanted port, or the next free one; and its number."""
    first = PORT if wanted is None else wanted
    for port in range(first, min(first + TRIED, 65536)):
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
            else:
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            sock.bind(("127.0.0.1", port))
            sock.listen(64)
            return sock, port
        except OSError as error:
            sock.close()
            if error.errno not in (errno.EADDRINUSE, errno.EACCES, getattr(errno, "WSAEADDRINUSE", None)):
                raise
    raise MockupError(f"No port from {first} to {first + TRIED - 1} is free.", fix="Name another one with --port.")


def open_document(scene: str, home: Path) -> Document:
    """The scene named as on the command line; what is not saved of a built-in one is kept in ``home``."""
    file = find_scene(scene)
    builtin = file.resolve().is_relative_to(scenes_folder().resolve())
    return Document.open(file, builtin=builtin, journal_folder=home if builtin else None)


def serve(document: Document, home: Path, *, port: int | None, browser: bool, say: Callable[[str], None]) -> None:
    """Serve a bench with a document on it until it is stopped, from the page or by an interrupt.

    home  where a copy of a built-in scene goes.
    say   hears the address, and, when the port wanted is in use, which one was taken.
    """
    sock, taken = free_port(port)
    token = secrets.token_urlsafe(24)
    address = f"http://127.0.0.1:{taken}/?key={token}"

    if port is not None and taken != port:
        say(f"Port {port} is in use; {taken} is taken.")
    say(address)
    if browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    # The browser is on its way; the engine starts meanwhile, and the socket keeps who knocks.
    from .app import create_app
    from .service import Bench

    bench = Bench(document, home)
    server = uvicorn.Server(uvicorn.Config("", log_level="error", lifespan="on", timeout_graceful_shutdown=1, server_header=False,
                                           access_log=False, proxy_headers=False, h11_max_incomplete_event_size=65536))

    def stop() -> None:
        server.should_exit = True

    server.config.app = create_app(bench, port=taken, token=token, stop=stop, stopping=lambda: server.should_exit)
    try:
        server.run(sockets=[sock])
    except KeyboardInterrupt:
        pass
    finally:
        sock.close()
        bench.stop()
    if document.dirty:
        say(f"Not saved, but kept: open {document.file.name} on the bench again to go on.")
