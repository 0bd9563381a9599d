"""Configuration, passwords and rights of a Mosquitto broker that keeps what it acknowledged."""

import base64
import hashlib
import os
from collections.abc import Mapping, Sequence

COLLECTOR, HEALTH, SIMULATOR = "steadybead-collector", "steadybead-health", "steadybead-simulator"
RESERVED = (COLLECTOR, HEALTH, SIMULATOR)
_ROUNDS = 10_000
_STATION_WRITES = ("senml", "senml-cbor", "online", "weld")


def configuration(keys: str, data: str) -> str:
    """Write mosquitto.conf: TLS only, passwords, nothing acknowledged before it is kept."""
    return f"""# Made at the first start; change it, it will not be written again.
per_listener_settings false
allow_anonymous false
password_file {keys}/passwords
acl_file {keys}/rights
listener 8883
cafile {keys}/ca.pem
certfile {keys}/server.pem
keyfile {keys}/server.key
tls_version tlsv1.2
persistence true
persistence_location {data}/
autosave_on_changes true
autosave_interval 1
max_inflight_messages 4000
max_queued_messages 1000000
max_queued_bytes 1073741824
message_size_limit 8388608
log_dest stderr
log_type error
log_type warning
"""


def rights(
    root: str, site: str, sources: Mapping[str, Sequence[str]], *, simulated: bool = False
) -> str:
    """Write the ACL: a station publishes under its own name only, and reads nothing.

    `sources` are the topics of a station's devices that speak another language. `simulated`: a
    simulated shop may publish for all stations. The collector writes only what it has to say.
    """
    stations = "\n".join(f"pattern write {root}/{site}/%u/{last}" for last in _STATION_WRITES)
    foreign = sorted({topic for topics in sources.values() for topic in topics})
    told = [f"topic read {topic}" for topic in ("$SYS/broker/publish/messages/dropped", *foreign)]
    rows = [
        "# A station's user name is its id. Written anew at each start.",
        stations,
        f"\nuser {COLLECTOR}\ntopic read {root}/{site}/#",
        *(f"topic write {root}/{site}/+/{last}" for last in ("live", "alarm/+")),
        *told,
        f"\nuser {HEALTH}\ntopic read $SYS/broker/uptime",
    ]
    for station, topics in sorted(sources.items()):
        rows += [f"\nuser {station}", *(f"topic write {topic}" for topic in topics)]
    if simulated:
        every = (f"topic write {root}/{site}/+/{last}" for last in _STATION_WRITES)
        rows += [f"\nuser {SIMULATOR}", *every, *(f"topic write {topic}" for topic in foreign)]
    return "\n".join(rows) + "\n"


def passwords(users: Mapping[str, str], salts: Mapping[str, bytes] | None = None) -> str:
    """Write the password file: PBKDF2 with SHA-512, as Mosquitto 2 has it (from memory)."""
    rows = []
    for user, password in sorted(users.items()):
        salt = (salts or {}).get(user) or os.urandom(12)
        digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, _ROUNDS)
        parts = (base64.b64encode(part).decode() for part in (salt, digest))
        rows.append(f"{user}:$7${_ROUNDS}${'$'.join(parts)}\n")
    return "".join(rows)
