"""What a worker does with the memory of its process."""

from __future__ import annotations

import os
import platform
import subprocess
import sys

import pytest

LARGE = """
import ctypes, sys
from optdescent.sweep.worker import packed, prepared

class Info(ctypes.Structure):
    _fields_ = [(name, ctypes.c_size_t) for name in (
        "arena", "ordblks", "smblks", "hblks", "hblkhd", "usmblks", "fsmblks", "uordblks", "fordblks", "keepcost")]

libc = ctypes.CDLL(None)
libc.mallinfo2.restype = Info
libc.malloc.restype, libc.malloc.argtypes = ctypes.c_void_p, [ctypes.c_size_t]
if sys.argv[1] == "kept":
    assert prepared(packed((abs, -1))) == 1
before = libc.mallinfo2().hblks
assert libc.malloc(1 << 20)
print(libc.mallinfo2().hblks - before)
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only the C library of GNU has these thresholds")
@pytest.mark.parametrize(("how", "mapped"), [("as dask starts it", 1), ("kept", 0)])
def test_a_worker_of_a_cluster_does_not_ask_the_system_for_each_large_piece(how: str, mapped: int) -> None:
    """The environment is that in which Dask starts a worker; a megabyte is mapped by itself, or, once asked, not."""
    environment = {**os.environ, "MALLOC_TRIM_THRESHOLD_": "65536"}
    done = subprocess.run(
        [sys.executable, "-c", LARGE, how], env=environment, capture_output=True, text=True, check=True, timeout=60
    )
    assert int(done.stdout) == mapped
