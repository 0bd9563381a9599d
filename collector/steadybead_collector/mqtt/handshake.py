"""A CONNECT by hand: proves that a broker answers, before anything relies on it."""

import os
import socket

_HEAD = b"\x00\x04MQTT\x04\x02\x00\x0a"  # protocol name and level 3.1.1, clean session, 10 s


def answers(host: str, port: int, timeout_s: float = 2.0) -> bool:
    """Tell whether a CONNECT gets its CONNACK (MQTT 3.1.1 sections 3.1 and 3.2)."""
    client_id = b"probe-" + os.urandom(6).hex().encode()
    body = _HEAD + len(client_id).to_bytes(2, "big") + client_id
    try:
        with socket.create_connection((host, port), timeout_s) as connection:
            connection.settimeout(timeout_s)
            connection.sendall(b"\x10" + bytes([len(body)]) + body)
            answer = connection.recv(4)
            connection.sendall(b"\xe0\x00")
    except OSError:
        return False
    return answer[:1] == b"\x20"
