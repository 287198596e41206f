"""Addresses of schedulers: what is formed like one, and what is refused before anything is asked of a network."""

from __future__ import annotations

import pytest

from optdescent.inputs import InputFault
from optdescent.sweep.cluster import Cluster


@pytest.mark.parametrize(
    "address",
    ["tcp://127.0.0.1:8786", "tls://head-node.example:8786", "ws://a_b:1", "[::1]:8786", "tcp://[fe80::1%eth0]:65535"],
)
def test_an_address_of_a_scheduler_is_taken_as_it_is(address: str) -> None:
    assert Cluster(address).address == address


@pytest.mark.parametrize(
    "address",
    [
        "",
        "nonsense",
        "http://x:1",
        "tcp://127.0.0.1",
        "tcp://:8786",
        "tcp://x:0",
        "tcp://x:65536",
        "tcp://x:1/y",
        " x:1",
    ],
)
def test_anything_else_is_refused_with_what_is_allowed(address: str) -> None:
    with pytest.raises(InputFault) as caught:
        Cluster(address)
    (fault,) = caught.value.faults
    assert fault.file == "address of the scheduler"
    assert fault.given == f"got {address!r}"
    assert fault.allowed.startswith("tcp://HOST:PORT, such as tcp://127.0.0.1:8786")
