"""`truekev serve`: the bench book in the browser."""

from __future__ import annotations

import typer

from truekev.cli.book_option import BookOption, book_path
from truekev.cli.output import as_json

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def serve(
        book: BookOption = None,
        port: int = typer.Option(8361, "--port", min=0, max=65535, help="0 takes any that is free."),
        listen: str = typer.Option("127.0.0.1", "--listen", metavar="ADDRESS", help="0.0.0.0 lets a phone in."),
        password: str = typer.Option(
            None, "--password", envvar="TRUEKEV_PASSWORD", help="Asked of everybody; better given by the variable."
        ),
        allow_host: list[str] = typer.Option([], "--allow-host", metavar="NAME", help="Another name of this machine."),
        json: bool = typer.Option(False, "--json", help="Print the addresses as JSON."),
    ) -> None:
        """Show the bench book in the browser until Ctrl-C; this machine only, unless --listen says otherwise.

        Example: truekev serve --book lab.book
        """
        from truekev.web.server import Server

        path = book_path(book)
        with Server(path, listen=listen, port=port, password=password, names=allow_host) as server:
            if json:
                typer.echo(as_json({"book": path, "addresses": server.addresses, "password": server.password}))
            else:
                typer.echo(f"{path}: open {' or '.join(server.addresses)} in a browser. Ctrl-C ends it.")
            if server.reachable:
                typer.echo(
                    "Warning: everybody in this network can reach the book and may write into it with the password"
                    f"{f' {server.password}' if server.password_made else ''} (any user name). The connection is not "
                    "encrypted: use it in a network that you trust.",
                    err=True,
                )
            server.run()
