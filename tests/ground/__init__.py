"""Tests of ground."""
