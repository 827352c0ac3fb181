"""The ``stringtrue`` command, and ``python -m alignment``."""

from __future__ import annotations

import gc
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

__all__ = ["main"]


def main() -> None:
    """Entry point of the ``stringtrue`` command."""
    # a short answer leaves nothing worth a sweep; looking for it took a tenth of the time
    gc.set_threshold(500_000)
    if find_spec("alignment.cli") is None:
        # a checkout has the folder beside the library, and no other package's of that name may come in between
        import_module("alignment").__path__.append(str(Path(__file__).parent.parent))
    import_module("alignment.cli.app").main()


if __name__ == "__main__":
    main()
