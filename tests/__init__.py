"""Tests, and the stated truth of the samples."""
