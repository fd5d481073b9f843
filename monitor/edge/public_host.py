"""Whether a host is out on the internet. What others name must not lead into the site's network."""

import ipaddress
import socket

_NAT64 = ipaddress.ip_network("64:ff9b::/96")


def is_public(address: str) -> bool:
    """Whether this IP address is reached over the internet, whatever it is wrapped in."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    if isinstance(ip, ipaddress.IPv6Address):
        inner = ip.ipv4_mapped or ip.sixtofour
        if ip in _NAT64:
            inner = ipaddress.IPv4Address(int(ip) & 0xFFFFFFFF)
        if inner is not None:
            return is_public(str(inner))
    return ip.is_global and not ip.is_multicast and not ip.is_reserved


def is_address(host: str) -> bool:
    """Whether this is an IP address rather than a name."""
    try:
        ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return False
    return True


def public_address(host: str, port: int) -> str | None:
    """An address of this host to connect to; None: it has none, or one of them is in the local network."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        return None
    addresses = [str(each[4][0]) for each in found]
    return addresses[0] if addresses and all(is_public(each) for each in addresses) else None
