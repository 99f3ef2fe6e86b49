"""The part of the interface that tells of the device itself, and of the page's own server."""

import resource
from dataclasses import dataclass
from datetime import UTC, datetime

from apiflask import APIBlueprint
from flask import request

from shared.protocol.device_facts import DeviceFacts, GetDevice
from web_ui.fingerprint import fingerprint_of
from web_ui.operation import ask, operation, parts
from web_ui.own_names import own_addresses, own_names
from web_ui.schemas import schema_of

device_api = APIBlueprint("about", __name__, url_prefix="/api/v1", tag="about")

_STARTED_AT = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclass(frozen=True)
class Serving:
    """How this page is served. ``fingerprint`` is the SHA-256 of the certificate to trust, empty without encryption."""

    encrypted: bool
    fingerprint: str
    names: tuple[str, ...]
    addresses: tuple[str, ...]
    started_at: str
    memory_mb: float
    tablets: int


@dataclass(frozen=True)
class About:
    """The device, and the page's server."""

    device: DeviceFacts
    page: Serving


@device_api.get("/device")
@device_api.output(schema_of(About, answer=True))
@operation(device_api, "What is known of the device: clock, storage, trips, settings, network", "watches")
def get_device() -> About:
    """Read-only."""
    certificate = parts().certificate
    page = Serving(
        encrypted=request.is_secure,
        fingerprint="" if certificate is None else fingerprint_of(certificate),
        names=own_names(),
        addresses=own_addresses(),
        started_at=_STARTED_AT,
        memory_mb=round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
        tablets=len(parts().access.sessions.all()),
    )
    return About(ask(DeviceFacts, GetDevice()), page)
