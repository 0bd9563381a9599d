"""The address that a start prints is one that a person can type on that machine."""

import socket
from contextlib import closing

import pytest

from steadybead_api.compose import address_of, bound_socket


@pytest.mark.parametrize(
    ("host", "published", "shown"),
    [
        ("127.0.0.1", "", "http://127.0.0.1:{port}/"),
        ("0.0.0.0", "", "http://127.0.0.1:{port}/"),  # noqa: S104
        ("0.0.0.0", "127.0.0.1:9000", "http://127.0.0.1:9000/"),  # noqa: S104
        ("0.0.0.0", "0.0.0.0:9000", "http://127.0.0.1:9000/"),  # noqa: S104
        ("0.0.0.0", "192.0.2.7:80", "http://192.0.2.7:80/"),  # noqa: S104
        ("0.0.0.0", "[::1]:80", "http://[::1]:80/"),  # noqa: S104
        ("0.0.0.0", "9000", "http://127.0.0.1:9000/"),  # noqa: S104
    ],
)
def test_it_is_never_the_address_of_all_interfaces(host: str, published: str, shown: str) -> None:
    with closing(bound_socket(host, 0)) as taken:
        port = taken.getsockname()[1]
        assert address_of(taken, published) == shown.format(port=port)


def test_an_address_of_version_6_stands_in_brackets() -> None:
    if not socket.has_ipv6:
        pytest.skip("this machine has no IPv6")
    with closing(bound_socket("::1", 0)) as taken:
        assert address_of(taken).startswith("http://[::1]:")
