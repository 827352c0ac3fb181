"""The station train: fitted, judged, and moved."""
