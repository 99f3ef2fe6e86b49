"""The names by which a page may call this device. A foreign name that leads here is another site's trick (DNS rebinding)."""

import contextlib
import fcntl
import ipaddress
import re
import socket
import struct
from collections.abc import Iterable
from pathlib import Path

_SIOCGIFADDR = 0x8915
_HOST = re.compile(r"([A-Za-z0-9.-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(:[0-9]{1,5})?")


def own_names() -> tuple[str, ...]:
    """Names of this machine: its host name, the same on the local link (RFC 6762), and what the resolver makes of it."""
    name = socket.gethostname().casefold()
    found = ("localhost", name, f"{name.partition('.')[0]}.local", socket.getfqdn().casefold())
    return tuple(dict.fromkeys(one for one in found if re.fullmatch(r"[a-z0-9.-]{1,253}", one)))


def own_addresses() -> tuple[str, ...]:
    """IPv4 addresses of this machine's interfaces, by ioctl (netdevice(7)): the unit's sandbox has no netlink and no /proc/net."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for interface in sorted(path.name for path in Path("/sys/class/net").iterdir()):
            with contextlib.suppress(OSError):  # one without an address
                answer = fcntl.ioctl(asking, _SIOCGIFADDR, struct.pack("256s", interface.encode()[:15]))
                found.append(socket.inet_ntoa(answer[20:24]))
    return tuple(found)


class OwnNames:
    """Judges what a request calls its host. Addresses always pass: nobody can make an address lead elsewhere."""

    def __init__(self, names: Iterable[str]) -> None:
        self._names = frozenset(name.casefold() for name in names)

    def host_of(self, header: str) -> str | None:
        """Host without port, as it may stand in a policy; None for a foreign or impossible one."""
        found = _HOST.fullmatch(header)
        if found is None:
            return None
        host = found[1].casefold()
        return host if host in self._names or is_address(host.strip("[]")) else None


def is_address(host: str) -> bool:
    """Whether it is an address and not a name."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def is_loopback(host: str) -> bool:
    """Whether nobody but this machine itself can reach a server there."""
    return host == "localhost" or (is_address(host) and ipaddress.ip_address(host).is_loopback)
