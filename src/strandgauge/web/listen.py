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
        raise CannotServeError(
            f"'{address}' is no address.", remedy="Give one of this computer's, such as 192.168.1.20."
        ) from None
    if found.is_loopback or found.is_unspecified:
        raise CannotServeError(
            "This computer is in no network.", remedy="Join the salon's Wi-Fi, or leave --lan out."
        )
    if not found.is_private:
        raise CannotServeError(
            f"This computer's address, {address}, can be reached from the whole internet.",
            remedy="Put it behind a router first; strandgauge is made for a salon's own network.",
        )
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
            raise CannotServeError(f"Port {port} is taken; perhaps strandgauge runs already.") from error
        raise CannotServeError(
            f"Port {port} cannot be used ({(error.strerror or str(error)).lower()})."
        ) from error
    return listener
