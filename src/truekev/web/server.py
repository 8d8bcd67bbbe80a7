"""Serving the pages: the socket, the names by which this machine is called, the password where others can reach it."""

from __future__ import annotations

import ipaddress
import secrets
import socket
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

import uvicorn

from truekev.errors import InputError
from truekev.web.app import create_app

__all__ = ["Server"]

_SHORTEST_PASSWORD = 8
_AT_ONCE = 64


class Server:
    """A book behind a listening socket; `run` answers until it is interrupted.

    Parameters
    ----------
    book_path : path
        The book.
    listen : str
        Address to listen on. Anything but this machine's own loop needs a password; one is made if none is given.
    port : int
        0 takes any that is free.
    password : str or None
        Asked of everybody.
    names : iterable of str
        Names by which the machine may be called, beside its own.

    Raises
    ------
    InputError
        The book cannot be opened, the address or port cannot be had, or the password is too short.
    """

    def __init__(
        self,
        book_path: Path,
        *,
        listen: str = "127.0.0.1",
        port: int = 8361,
        password: str | None = None,
        names: Iterable[str] = (),
    ) -> None:
        try:
            address = ipaddress.ip_address("127.0.0.1" if listen == "localhost" else listen)
        except ValueError:
            raise InputError(f"--listen {listen}: an address of this machine is needed, as 127.0.0.1.") from None
        self.reachable = not address.is_loopback
        if password and len(password) < _SHORTEST_PASSWORD:
            raise InputError(f"--password: {len(password)} characters are too few; take at least {_SHORTEST_PASSWORD}.")
        self.password_made = self.reachable and not password
        self.password = secrets.token_urlsafe(9) if self.password_made else password or ""
        own = _own_addresses(address.version) if address.is_unspecified else [str(address)]
        called = [*own, *names, *([socket.gethostname()] if self.reachable else [])]
        app = create_app(book_path, hosts=called, password=self.password)
        self.socket = _bound(address, port)
        taken = self.socket.getsockname()[1]
        self.addresses = tuple(f"http://{f'[{name}]' if ':' in name else name}:{taken}/" for name in (*own, *names))
        self._server = uvicorn.Server(
            uvicorn.Config(
                app,
                log_level="warning",
                access_log=False,
                proxy_headers=False,
                server_header=False,
                ws="none",
                limit_concurrency=_AT_ONCE,
                timeout_graceful_shutdown=3,
            )
        )

    def __enter__(self) -> Server:
        """The server itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.socket.close()

    def run(self) -> None:
        """Answer until interrupted, or until another thread calls `stop`."""
        self._server.run(sockets=[self.socket])

    def stop(self) -> None:
        """Make `run` return."""
        self._server.should_exit = True


def _bound(address: ipaddress.IPv4Address | ipaddress.IPv6Address, port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET6 if address.version == 6 else socket.AF_INET, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((str(address), port))
        made.listen(_AT_ONCE)
    except OSError as error:
        made.close()
        raise InputError(
            f"port {port} of {address} cannot be had ({error.strerror}); is the book open already? Else give another "
            "--port, or 0 for any."
        ) from None
    return made


def _own_addresses(version: int) -> list[str]:
    """Its own loop, and the address by which other machines reach this one, if it is in a network."""
    family, loop, far = (socket.AF_INET6, "::1", "2001:db8::1")
    if version == 4:
        family, loop, far = (socket.AF_INET, "127.0.0.1", "192.0.2.1")
    with socket.socket(family, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((far, 9))  # sends nothing; it only makes the system choose an address
        except OSError:
            return [loop]
        return [loop, probe.getsockname()[0]]
