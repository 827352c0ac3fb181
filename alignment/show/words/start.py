"""What is said when a file was begun, and what to do next."""

from __future__ import annotations

from pathlib import Path

__all__ = ["begun"]


def begun(file: Path, read: int) -> list[str]:
    """A first layout was written; its tolerances can be proved with so many readings of each end."""
    return [
        f"Wrote {file}. Compare it with the machine.",
        f"Its tolerances are the finest that this tape can set and prove. Read each end {read} times.",
        f"Then: stringtrue enter {file} as-found.csv --repeats {read}",
    ]
