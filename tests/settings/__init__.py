"""Tests of settings."""
