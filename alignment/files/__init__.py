"""Bytes, rows and keys of files; nothing of a machine."""
