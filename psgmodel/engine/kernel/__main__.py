"""``python -m psgmodel.engine.kernel``: compile the kernel where it is missing or older than its sources.

Stage: engine, the compiled kernel. In: nothing. Out: the library beside this file. Exit status 1, with the reason,
where it cannot be.
"""

from __future__ import annotations

from psgmodel.engine.kernel.build import NotBuiltError, build
from psgmodel.engine.kernel.library import find_kernel


def main() -> None:
    """Build unless what is there serves."""
    if find_kernel().library is None:
        try:
            build()
        except (NotBuiltError, OSError) as reason:
            raise SystemExit(str(reason)) from reason
        find_kernel.cache_clear()
        if find_kernel().library is None:
            raise SystemExit(find_kernel().reason)


if __name__ == "__main__":
    main()
