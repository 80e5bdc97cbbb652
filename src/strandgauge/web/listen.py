"""Where the server listens: this computer alone, or its address in the local network."""

from __future__ import annotations

import errno
import ipaddress
import socket

from strandgauge.errors import CannotServeError

LOOPBACK = "127.0.0.1"
BACKLOG = 256
_ELSEWHERE = ("192.0.2.1", 9)
"""An address of no computer (RFC 5737): asking which way leads there sends nothing."""


def local_address(wanted: str | None = None) -> str:
    """Return this computer's address in the local network.

    Parameters
    ----------
    wanted : the one to be used, where the computer has several; the one that leads out when None.

    Raises
    ------
    CannotServeError : there is no network, or the address is none, or open to the whole internet.
    """
    if wanted is not None:
        return _private(wanted)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ELSEWHERE)
            address = str(probe.getsockname()[0])
        except OSError:
            address = LOOPBACK
    return _private(address)


def _private(address: str) -> str:
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        raise CannotServeError(fault="no-address", address=address) from None
    if found.is_loopback or found.is_unspecified:
        raise CannotServeError(fault="no-network")
    if not found.is_private:
        raise CannotServeError(fault="open", address=address)
    return address


def listen(address: str, port: int) -> socket.socket:
    """Return a socket that listens; connections wait in it until the server is up.

    Raises
    ------
    CannotServeError : the port is taken or may not be used.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows, where others could listen in otherwise
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((address, port))
        listener.listen(BACKLOG)
    except OSError as error:
        listener.close()
        if error.errno == errno.EADDRINUSE:
            raise CannotServeError(fault="taken", port=port) from error
        raise CannotServeError(
            fault="unusable", port=port, reason=(error.strerror or str(error)).lower()
        ) from error
    return listener
