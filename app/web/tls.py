"""Speaking https: the encryption is taken off at the door, and what was inside is handed to the server behind."""

from __future__ import annotations

import asyncio
import socket
import ssl
import threading
from contextlib import suppress
from pathlib import Path

AT_ONCE = 65536
HANDSHAKE_S = 10
LOOPBACK = "127.0.0.1"


def context_of(certificate: Path, key: Path) -> ssl.SSLContext:
    """What a certificate and its key make; OSError where a file cannot be read, or the two do not fit."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    # An empty password, so that a key with one is refused and nobody is asked on a console that is not there.
    context.load_cert_chain(certificate, key, password="")
    return context


def take_off(door: socket.socket, inner_port: int, context: ssl.SSLContext) -> None:
    """Hand everything that comes in at the door to a server on this machine, byte by byte, until the program ends."""
    threading.Thread(target=asyncio.run, args=(_stand(door, inner_port, context),), daemon=True).start()


async def _stand(door: socket.socket, inner_port: int, context: ssl.SSLContext) -> None:
    async def meet(came_in: asyncio.StreamReader, goes_out: asyncio.StreamWriter) -> None:
        with suppress(OSError):
            answers, asks = await asyncio.open_connection(LOOPBACK, inner_port)
            await asyncio.gather(_carry(came_in, asks), _carry(answers, goes_out))
        goes_out.close()

    server = await asyncio.start_server(meet, sock=door, ssl=context, ssl_handshake_timeout=HANDSHAKE_S)
    await server.serve_forever()


async def _carry(source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
    with suppress(OSError):
        while data := await source.read(AT_ONCE):
            target.write(data)
            await target.drain()
    target.close()
